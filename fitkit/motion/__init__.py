"""Plates ridden through the wearer's movements: body and patches in, contacts and trims out.

Comes in: a body with its joints, patches cut from the form, the ranges asked for. Goes out: where
and when plates stop a joint, what a trim would free, and where lames, pivots and straps go. Plates
are rigid; the skin follows the joints smoothly.
"""
