"""The cameras."""
