"""The drawings of the guide, docs/drawings/*.svg, made again: `python -m tests.campaigns.drawings`."""

from pathlib import Path

from calib.use.report.drawings import NAMES, file_of

FOLDER = Path(__file__).parents[2] / "docs" / "drawings"


def main() -> None:
    """Write them all, and take away what is none of them."""
    FOLDER.mkdir(exist_ok=True)
    for path in FOLDER.iterdir():
        path.unlink()
    for name in NAMES:
        (FOLDER / f"{name}.svg").write_text(file_of(name), "utf-8")


if __name__ == "__main__":
    main()
