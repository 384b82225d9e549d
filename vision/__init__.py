"""Photo -> reading: decode, find the board, sample its cells, tell colours, know doubt."""
