"""Pictures, turntable, page and files to hand over."""
