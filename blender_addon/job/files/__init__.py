"""What is written where: names, folders, the list of files we wrote, files that appear complete or not at all.

In: paths and what goes into them.
Out: files that are whole, or an error in words.
Order: `names` and `places` before a run, `whole_files` with `made_files` for each file.
"""
