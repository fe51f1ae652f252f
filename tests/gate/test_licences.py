"""Licences of what the service is served with: known, allowed, and refused otherwise."""

import re
from email.message import Message
from importlib.metadata import distribution

import pytest
from license_expression import get_spdx_licensing
from release_tools import LICENCES, locked_names

# Words that stand in no other of these licences; of the BSD licences the third clause.
WORDS = {
    "MIT": "Permission is hereby granted, free of charge",
    "BSD-2-Clause": "Redistribution and use in source and binary forms",
    "BSD-3-Clause": "Redistribution and use in source and binary forms",
    "Apache-2.0": "Apache License",
}
THIRD_CLAUSE = re.compile(r"Neither the names? of|names? of .{0,60} may not be used", re.DOTALL)


def test_every_licence_that_was_read_is_the_text_in_the_package() -> None:
    """Texts of the SPDX licence list."""
    for package, read in LICENCES.licence_table()["read"].items():
        files = [
            file
            for file in distribution(package).files or []
            if re.match(r"(LICEN[CS]E|COPYING)", file.name) and ".dist-info" in str(file)
        ]
        if read["expression"] == "LicenseRef-scancode-public-domain":
            assert "Public Domain" in (distribution(package).read_text("METADATA") or "")
            continue
        texts = [file.read_text("utf-8") for file in files if "third-party" not in file.name]
        assert texts, package
        assert any(WORDS[read["expression"]] in text for text in texts), package
        if read["expression"].startswith("BSD"):
            has_third = any(THIRD_CLAUSE.search(text) for text in texts)
            assert has_third == (read["expression"] == "BSD-3-Clause"), package


def test_every_package_of_the_lock_has_an_allowed_licence() -> None:
    table = LICENCES.licence_table()
    names = locked_names()
    assert all(LICENCES.licence_of(name, table) for name in names)
    assert set(table["read"]) <= set(names)
    for name in table["allowed"]:
        assert get_spdx_licensing().validate(name).errors == [], name
    # A licence that no package has any longer goes out of the list.
    spdx = get_spdx_licensing()
    used = {
        key
        for name in names
        for key in map(str, spdx.parse(LICENCES.licence_of(name, table)).symbols)
    }
    assert set(table["allowed"]) <= used


def worded(**fields: str | list[str]) -> Message:
    message = Message()
    for name, value in fields.items():
        for each in [value] if isinstance(value, str) else value:
            message[name.replace("_", "-")] = each
    return message


@pytest.mark.parametrize(
    ("metadata", "said"),
    [
        (worded(License_Expression="GPL-3.0-only"), "sample is under GPL-3.0-only"),
        (worded(License_Expression="MIT AND AGPL-3.0-only"), "AGPL-3.0-only"),
        (worded(License_Expression="MIT AND Own-Licence"), "no SPDX expression"),
        (worded(License="BSD"), "no SPDX expression"),
        (worded(License="Redistribution\nand use"), "licence as ''"),
        (worded(Classifier=["License :: Other/Proprietary License"]), "Proprietary"),
        (worded(), "licence as ''"),
    ],
)
def test_an_unknown_licence_is_refused(metadata: Message, said: str) -> None:
    with pytest.raises(LICENCES.LicenceRefusedError, match=re.escape(said)):
        LICENCES.licence_of("sample", LICENCES.licence_table(), metadata)


def test_one_of_several_licences_is_enough_and_a_reading_holds_for_its_words_only() -> None:
    table = LICENCES.licence_table()
    either = worded(License_Expression="GPL-3.0-only OR MIT")
    assert LICENCES.licence_of("sample", table, either) == "GPL-3.0-only OR MIT"
    assert LICENCES.licence_of("pint", table, worded(License="BSD")) == "BSD-3-Clause"
    for words, said in (("BSD-like", "no SPDX expression"), ("MIT", "take its entry out")):
        with pytest.raises(LICENCES.LicenceRefusedError, match=said):
            LICENCES.licence_of("pint", table, worded(License=words))
