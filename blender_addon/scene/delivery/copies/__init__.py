"""Copies of a still as the client needs them: resized and cropped, with a scale bar, credit or watermark, as files.

In: a still's originals.
Out: files with profile, resolution and words.
Order: `finished` finds the stills; `client_pictures` writes with `drawn_marks`, `lettering` and `jpeg`; `marked` is for proofs.
"""
