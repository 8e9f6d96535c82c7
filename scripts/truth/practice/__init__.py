"""Made-up pieces and paint for training the relief's net; no bench takes any of them."""
