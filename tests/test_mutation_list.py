"""The list of `python -m tests.campaigns.mutations` fits the code: each line once, no golden a witness."""

import pytest

from tests.campaigns.mutation_list import MUTATIONS, Mutation
from tests.campaigns.mutations import GOLDENS, ROOT


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda m: f"{m.file}: {m.good}")
def test_every_listed_line_stands_once_and_has_witnesses(mutation: Mutation) -> None:
    text = (ROOT / "calib" / mutation.file).read_text("utf-8")
    assert text.count(mutation.good) == 1
    compile(text.replace(mutation.good, mutation.broken), mutation.file, "exec")
    assert mutation.broken != mutation.good
    assert mutation.tests
    assert not set(mutation.tests) & set(GOLDENS)
    assert all((ROOT / "tests" / name).is_file() for name in mutation.tests)


def test_the_list_covers_every_stage_and_goldens_are_there() -> None:
    assert len(MUTATIONS) >= 60
    assert {"acquire", "fit", "profile", "use"} <= {m.file.partition("/")[0] for m in MUTATIONS}
    assert any(m.file.startswith("profile/store/") for m in MUTATIONS)
    assert all((ROOT / "tests" / name).is_file() for name in GOLDENS)
