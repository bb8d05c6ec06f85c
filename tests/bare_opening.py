"""A job of one opening with six readings and no photo, as text."""

HEAD = '[job]\nid = "harbor-114"\nunits = "in"\n'
SIZES = """
width = { top = "54 3/8", middle = "54 1/4", bottom = "54 3/8" }
height = { left = "60", middle = "60 1/8", right = "60 1/8" }
"""


def opening(label="W1", more="", sizes=SIZES):
    return f'\n[[opening]]\nlabel = "{label}"\nwall = "masonry"\n{more}\n{sizes}'
