"""The shop pack: what hangs over the bench, a page a part, to scale and with its dimensions."""
