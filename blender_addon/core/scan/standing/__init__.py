"""Which way is up? Possible poses are found and measured, their evidence added up and combined with the file's axes."""
