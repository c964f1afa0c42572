"""What holds the plates on the wearer: patches and blanks in; straps and where they sit out.

A strap's run over the form gives its length, its holes and how far it can be let out and taken in;
its seats are mapped to the blanks, so that rivets and buckles stand on the templates of both
plates.
"""
