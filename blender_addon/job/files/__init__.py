"""What is written where: names, folders, the list of files we wrote, files that appear complete or not at all."""
