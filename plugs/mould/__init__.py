"""What a mould taken from the plug needs: parts and their pulls, draft, parting, flanges, its laminate."""
