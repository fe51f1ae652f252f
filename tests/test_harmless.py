import sys
import unicodedata

import pyarrow as pa
import pyarrow.compute as pc
from hypothesis import given
from hypothesis import strategies as st

from loomwright.harmless import SUSPICIOUS, harmless, one_line

# Unicode Standard Annex 9, 2: explicit formatting characters, and the implicit marks.
BIDIRECTIONAL_CONTROLS = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}
MARKS_OF_DIRECTION = "\u200e\u200f\u061c"

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


def test_every_character_that_is_changed_is_suspicious() -> None:
    changed = [each for each in map(chr, range(sys.maxunicode + 1)) if harmless(each) != each]
    texts = [each for each in changed if unicodedata.category(each) != "Cs"]
    assert len(changed) - len(texts) == 2048
    assert all(pc.match_substring_regex(pa.array(texts), SUSPICIOUS).to_pylist())


def test_what_is_hidden_is_gone_and_what_is_seen_stays() -> None:
    """The categories are those of the Unicode Character Database that Python carries."""
    for each in map(chr, range(sys.maxunicode + 1)):
        shown = one_line(each)
        category = unicodedata.category(each)
        if category in ("Cc", "Zl", "Zp"):
            assert shown == " ", ascii(each)
        elif category in ("Cs", "Co"):
            assert shown == "\ufffd", ascii(each)
        elif category[0] in "LNPSZ":
            assert each in (shown, "\ufffc"), ascii(each)
        if unicodedata.bidirectional(each) in BIDIRECTIONAL_CONTROLS or each in MARKS_OF_DIRECTION:
            assert shown == "", ascii(each)
        assert one_line(shown) == shown
