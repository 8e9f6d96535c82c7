"""Renders the pictures and films, and writes the pages and files for the client.

In: the finished scene.
Out: pictures, films, pages, asset files.
Order: render, films, comparison, export.
"""
