"""Where was a photograph taken? Its camera, refined on the picture itself and looked for without any spots.

In: a photo, and the piece as it is drawn.
Out: a camera, how sure it is, and why.
Order: `pictures` and `look` draw, `patches` and `resection` are used by `refinement`, that by `search` and `alignment`;
`one_lens` joins photos of one lens; `judging` last.
"""
