"""What is delivered to a client? Copies of finished pictures.

In: pixels in strips.
Out: the same, cropped, resized, marked and quantised; sizes, costs and needs beforehand.
Order: `needs` and `cost` first; then `crop_window`, `resampling`, `marks`, `bits`.
"""
