"""What is said before anybody pulls a band, at every door. Reminders: the rules of the place come first."""

TITLE = "Before you pull:"
CAUTIONS = (
    "Eyes covered; nobody in line with the band. If it lets go, it will fly.",
    "Inspect the band under a light stretch. Nick, crack or sticky spot: do not use it.",
    "Anchor and hooks must hold more than the pull, and the hooks must stay closed.",
    "Stay below the scale's capacity. The rules of your gym or house come first.",
    "Unsure about an anchor? Ask someone qualified.",
)
