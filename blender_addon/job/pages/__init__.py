"""The pages that go with the pictures, as HTML: for the client, for the maker, the turn to drag.

In: plain values: titles, files, figures, decisions.
Out: text.
Order: `page` for one piece, `series` for many, `photo_page` for a folder of photos; the others are parts of them.
"""
