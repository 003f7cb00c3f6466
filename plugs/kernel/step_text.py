"""Settle the text of a STEP file: the product's own name, and nothing that differs from run to run."""

from __future__ import annotations

import re
from typing import Final

PRODUCT_MARK: Final = "plug-product-name"
"""What the kernel is told to call the product; replaced by its real name."""

_FILE_NAME: Final = re.compile(r"FILE_NAME\(.*?\);", re.DOTALL)
_DESCRIPTION: Final = re.compile(r"FILE_DESCRIPTION\(.*?\);", re.DOTALL)
_PRODUCT: Final = re.compile(rf"'{PRODUCT_MARK}(?: [0-9.]+)?'")
_TIME: Final = "1970-01-01T00:00:00"


def settled_step(step: bytes, name: str) -> bytes:
    """Return a STEP file with a fixed time, neutral names in its head, and the product's name.

    Parameters
    ----------
    step : bytes
        As the kernel wrote it, the product called `PRODUCT_MARK`.
    name : str
        The product's name, any text.

    Raises
    ------
    AssertionError
        The head or the product is not where it should be.
    """
    called = step_string(name)
    head, mark, rest = step.decode("ascii").partition("DATA;")
    head, n_names = _FILE_NAME.subn(
        lambda _: f"FILE_NAME({called},'{_TIME}',(''),(''),'plugs','plugs','');", head
    )
    head, n_descriptions = _DESCRIPTION.subn("FILE_DESCRIPTION(('foam plug'),'2;1');", head)
    rest, n_products = _PRODUCT.subn(lambda _: called, rest)
    if (n_names, n_descriptions) != (1, 1) or not mark or n_products == 0:
        raise AssertionError(f"unexpected STEP text: {n_names} names, {n_products} products")
    return (head + mark + rest).encode("ascii")


def step_string(text: str) -> str:
    r"""Return a text as a string of a STEP file, in quotes.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        Printable ASCII only.

    References
    ----------
    ISO 10303-21, string encoding: a quote or a backslash is doubled, other characters are written
    as hexadecimal code between \X2\ or \X4\ and \X0\ (from memory; read back in the tests).
    """
    parts = []
    for letter in text:
        code = ord(letter)
        if letter in "'\\":
            parts.append(letter * 2)
        elif 32 <= code < 127:
            parts.append(letter)
        elif code < 0x10000:
            parts.append(f"\\X2\\{code:04X}\\X0\\")
        else:
            parts.append(f"\\X4\\{code:08X}\\X0\\")
    return f"'{''.join(parts)}'"
