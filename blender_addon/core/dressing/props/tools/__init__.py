"""Hand tools, lying along x. One file each."""
