import pyarrow as pa
import pyarrow.compute as pc
from hypothesis import given
from hypothesis import strategies as st

from loomwright.harmless import SUSPICIOUS, harmless

texts = st.text(max_size=8) | st.text(
    st.sampled_from(list("a =+-@';|\"\t\r\n\x7f\x85\u00a0\u2028\ufeff\uff1d\uff20")), max_size=6
)


@given(st.lists(texts, min_size=1))
def test_what_is_changed_is_suspicious(drawn: list[str]) -> None:
    suspicious = pc.match_substring_regex(pa.array(drawn, pa.utf8()), SUSPICIOUS).to_pylist()
    for text, found in zip(drawn, suspicious, strict=True):
        assert found or harmless(text) == text


def test_keys_and_sizes_are_not_suspicious() -> None:
    plain = ["van 12", "10 AWG", "iso_8820_3_c", "a-b", "x=1", "it's", '[{"key":"feed"}]', ""]
    assert not any(pc.match_substring_regex(pa.array(plain), SUSPICIOUS).to_pylist())
