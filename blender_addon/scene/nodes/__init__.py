"""Node trees of the materials and of the picture's finish, built in code: one group per file, inputs by name."""
