"""Makes the cameras of the shots and of camera moves."""
