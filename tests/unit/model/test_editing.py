from __future__ import annotations

from support.builders import entry_id

from archive.errors import Exit
from archive.model.editing import Comparison, Source, TakenBack
from archive.views.plain import plain


def test_taking_back_is_done_even_if_nothing_was_to_be_written() -> None:
    assert TakenBack(of=entry_id(1), entries=(), words=()).exit_code is Exit.DONE


def test_answers_become_plain_values_for_scripts() -> None:
    source = Source(part="exposure", words="exposure +0.50 stops", kind="own", ramps=("ramp",))
    assert plain(source)["ramps"] == ["ramp"]
    found = Comparison(frame="a", first="plain", second="now", width=1, height=1, mean=0.5, largest=1.0,
                       changed=0.1, any_changed=0.2, rows=())  # fmt: skip
    assert plain(found)["written"] is None
