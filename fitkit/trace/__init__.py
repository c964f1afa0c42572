"""Corrected pieces back in: photos of flat pieces beside marker sheets -> outlines in millimetres.

In: photos of card lying flat, the templates of the job. Out: what each piece's outline now is,
which part it belongs to, and how far each of its edges moved.
"""
