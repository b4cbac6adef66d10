"""What is said before anybody pulls a band, at every door. Reminders: the rules of the place come first."""

TITLE = "Before you pull:"
CAUTIONS = (
    "Eyes covered; nobody in line with the band. If it lets go, it flies.",
    "Look the band over under light stretch: a nick, a crack, a sticky spot - do not use it.",
    "Anchor and hooks must hold more than the pull, and hooks must not open.",
    "Stay within what the scale takes. The rules of your gym or house come first.",
    "Unsure about an anchor? Ask someone qualified.",
)
