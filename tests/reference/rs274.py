"""A strict reader of RS-274, written from the grammar of NIST IR 6556 (17 August 2000).

Read in a public copy of the report itself (confirmed): lines of at most 256 letters, an optional block
delete, an optional line number, then words and comments in any order, spaces anywhere (3.3); a line number
of at most five figures without a sign (3.3.1); a word is a letter of table 3 and a number of figures with at
most one point, no exponent (3.3.2, 3.3.2.1); comments do not nest and end on their line (3.3.4); no two words
of one modal group on a line, at most four M words, no other letter twice (3.3.5, table 4); with G93 an F on
every line of G1 (3.5.19); the program ends by M2 or M30 (3.6.1), or its file stands between two lines of %
(3.1). Expressions and parameters, which no program of ours has, are not read. The letters of axes are
those that the owner names: table 3 has X, Y, Z, A, B, C alone.
"""

from __future__ import annotations

import re

GROUPS = (
    {0, 1, 2, 3, 38.2, 80, 81, 82, 83, 84, 85, 86, 87, 88, 89},
    {17, 18, 19},
    {90, 91},
    {93, 94},
    {20, 21},
    {40, 41, 42},
    {43, 49},
    {98, 99},
    {54, 55, 56, 57, 58, 59, 59.1, 59.2, 59.3},
    {61, 61.1, 64},
    {4, 10, 28, 30, 53, 92, 92.1, 92.2, 92.3},
)
"""Modal groups of G, table 4, and the group that is not modal."""

M_GROUPS = ({0, 1, 2, 30, 60}, {6}, {3, 4, 5}, {7, 8, 9}, {48, 49})
OTHER = set("DFGHIJKLMPQRST")
"""Letters of table 3 but for axes and N, which no word begins with (3.3.2)."""


def strict(text: str, axes: str = "XYUV") -> list[dict[str, list[float]]]:
    """Return the words of each line by their letters; raise on anything that the grammar does not allow."""
    found: list[dict[str, list[float]]] = []
    mode, is_over, motion, percents = None, False, None, 0
    for line in text.split("\n")[:-1]:
        if line.strip() == "%":
            percents += 1
            assert percents == 2 or not found, "% stands first and last"
            continue
        assert not is_over and percents < 2, "nothing follows the end"
        words = words_of(line, axes)
        for value in words.get("G", []):
            mode = value if value in (93, 94) else mode
            motion = value if value in (0, 1, 80) else motion
        if set(words) & set(axes):
            assert motion in (0, 1), "a place without a move"
            if motion == 1:
                assert mode != 93 or "F" in words, "inverse time without F"
                assert words.get("F", [1.0])[0] > 0.0
        is_over = bool({2.0, 30.0} & set(words.get("M", [])))
        found.append(words)
    assert is_over or percents == 2, "the program does not end"
    assert percents != 1, "a line of % at the beginning asks for one at the end"
    return found


def words_of(line: str, axes: str = "XYUV") -> dict[str, list[float]]:
    """Return the words of one line by their letters, without its number."""
    assert len(line) <= 256 and line.isascii() and line.isprintable(), line
    plain, depth = "", 0
    for letter in line:
        depth += letter == "("
        assert depth <= 1, "comments do not nest"
        plain += letter if depth == 0 else ""
        depth -= letter == ")"
        assert depth >= 0
    assert depth == 0, "a comment ends on its line"
    plain = re.sub(r"[ \t]", "", plain).upper().removeprefix("/")
    plain = re.sub(r"^N[0-9]{1,5}(?![0-9.])", "", plain)
    words: dict[str, list[float]] = {}
    while plain:
        match = re.match(r"([A-Z])([+-]?(\d+\.?\d*|\.\d+))", plain)
        assert match, f"{plain!r} in {line!r}"
        assert match[1] in OTHER | set(axes), match[1]
        words.setdefault(match[1], []).append(float(match[2]))
        plain = plain[match.end() :]
    assert all(len(v) == 1 for k, v in words.items() if k not in "GM"), line
    assert len(words.get("M", [])) <= 4
    for values, groups in ((words.get("G", []), GROUPS), (words.get("M", []), M_GROUPS)):
        owners = [next(i for i, group in enumerate(groups) if value in group) for value in values]
        assert len(set(owners)) == len(owners), f"two of a group: {line}"
    return words
