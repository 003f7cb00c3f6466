"""From the recipe's words to a body: sections, stations, ends, recesses, the two engines, the proof."""
