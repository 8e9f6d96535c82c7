"""Renders the pictures and films, and writes the pages and files for the client."""
