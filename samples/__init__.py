"""Inputs to practise on: an invented game, its sheet, and a photographer who knows the truth.

Nothing here shares code with what reads the photos; a reading would only check itself.
"""
