"""What a phone makes of a piece: fused triangles, charts and texels, the picture its camera takes."""
