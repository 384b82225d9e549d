"""Things to print at true size: corner cards, key strip, layout plan, score sheet, card list."""
