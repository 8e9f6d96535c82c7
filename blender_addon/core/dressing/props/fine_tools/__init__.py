"""Tools for fine work on finished surfaces. A file a tool."""
