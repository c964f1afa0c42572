"""Blanks and rivet rows in; how each piece is made, what to buy and how it goes together out.

Values only: the build book's pages are laid out in ``export``.
"""
