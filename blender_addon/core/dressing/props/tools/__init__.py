"""Hand tools, lying along x. A file a tool."""
