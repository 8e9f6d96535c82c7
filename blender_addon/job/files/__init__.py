"""What is written where: names, folders, the list of what we made, files that appear whole or not at all."""
