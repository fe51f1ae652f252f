import gc
import io

import pytest

from loomwright.batch.forms.batch_document import Limits, batch_document
from loomwright.batch.forms.collector import collector_paused
from loomwright.batch.forms.form_error import FormError


def test_the_collector_runs_again_afterwards() -> None:
    assert gc.isenabled()
    with collector_paused():
        assert not gc.isenabled()
        with collector_paused():
            assert not gc.isenabled()
        assert not gc.isenabled()
    assert gc.isenabled()


def test_the_collector_runs_again_after_a_fault() -> None:
    class Source(io.BytesIO):
        def read(self, size: int | None = -1, /) -> bytes:
            assert not gc.isenabled()
            return super().read(size)

    with pytest.raises(FormError):
        batch_document(Source(b"["), "json", Limits())
    assert gc.isenabled()


def test_who_has_it_off_finds_it_off() -> None:
    gc.disable()
    try:
        with collector_paused():
            pass
        assert not gc.isenabled()
    finally:
        gc.enable()
