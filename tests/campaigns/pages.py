"""Every page that the program writes itself, made again: `python -m tests.campaigns.pages`. The tests compare them.

Pages of figures (coverage, speed and the like) are made by their own campaigns, which take minutes to hours.
"""

from calib import assumptions
from tests.campaigns import api_page, box_walk, drawings, man_page, rig_walks, tutorial

if __name__ == "__main__":
    api_page.PAGE.write_text(api_page.page(), "utf-8")
    (api_page.PAGE.parent / "assumptions.md").write_text(assumptions.page(), "utf-8")
    drawings.main()
    man_page.main()
    tutorial.main()
    box_walk.main(["--write", str(box_walk.PAGE)])
    rig_walks.main()  # sets the width of the terminal for good
