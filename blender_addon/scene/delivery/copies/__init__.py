"""Copies of a still as the client needs them: resized and cropped, with a scale bar, credit or watermark, as files."""
