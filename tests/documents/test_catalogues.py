"""Every word of a document is said in every language, and the engine has no word without one."""

import re
from functools import reduce
from itertools import pairwise

import pytest
from hypothesis import given, settings

import drawn_jobs
from document_texts import texts_of_documents
from loomwright.documents import vocabulary
from loomwright.documents.catalogue import TRANSLATED, catalogue
from loomwright.documents.options import LANGUAGES, DocumentOptions
from loomwright.documents.step_words import CHECKS, FORMS, OF_THE_SHOP, set_anew
from loomwright.documents.words import Words
from loomwright.engineering.audio.output_words import VERDICTS as CLAIM_VERDICTS
from loomwright.engineering.cautions import CAUTIONS
from loomwright.engineering.measurement.measured_network import QUANTITIES
from loomwright.jobs.demo_library import DEMO_JOBS, demo_book, demo_job
from loomwright.jobs.job_document import job_from_document
from loomwright.jobs.plan.alternatives import PLAN_NAMES
from loomwright.jobs.plan.plan import VERDICTS
from loomwright.jobs.priced_job import priced_job
from loomwright.jobs.sized_circuit import SIZED
from loomwright.jobs.sized_circuit import VERDICTS as CIRCUIT_VERDICTS
from loomwright.jobs.work_order.steps import KINDS, PHASES, TOOLS
from loomwright.jobs.work_order.work_order import work_order
from loomwright.pricing.kinds import UNIT_WORDS
from loomwright.tables.conductor_words import INSULATIONS, MATERIALS, SERIES
from loomwright.tables.fuse_load import fuse_tables
from loomwright.tables.fuse_words import FUSE_TYPE_TEXTS, FUSE_TYPES, fuse_standard
from loomwright.tables.load import tables
from loomwright.web.stated_jobs import stated_job

TEXTS = tuple(texts_of_documents())
PLACEHOLDER = re.compile(r"\{\w*\}")


@pytest.mark.parametrize("language", TRANSLATED)
def test_catalogue_has_every_text_and_no_other(language):
    assert set(catalogue(language)) == set(TEXTS)


@pytest.mark.parametrize("language", TRANSLATED)
def test_translations_have_the_placeholders_of_their_text(language):
    for text, translation in catalogue(language).items():
        assert translation.strip() == translation != "", text
        assert sorted(PLACEHOLDER.findall(translation)) == sorted(PLACEHOLDER.findall(text))
        # A sentence ends as one.
        assert translation[-1] == "." or text[-1] != "." or text == "No.", text


@pytest.mark.parametrize("language", TRANSLATED)
def test_catalogue_says_no_two_lines_alike_by_mistake(language):
    said = {}
    for text, translation in catalogue(language).items():
        said.setdefault(translation, []).append(text)
    alike = [texts for texts in said.values() if len(texts) > 1]
    for texts in alike:
        assert max(map(len, texts)) < 40, texts


def test_a_language_is_either_translated_or_english():
    assert set(LANGUAGES) == {"en", *TRANSLATED}
    assert not catalogue("en")


@pytest.mark.parametrize(
    ("words", "keys"),
    [
        (vocabulary.VERDICTS, VERDICTS),
        (vocabulary.UNSIZED, set(CIRCUIT_VERDICTS) - {SIZED}),
        (vocabulary.CLAIMS, {*CLAIM_VERDICTS, "output_estimated"}),
        (vocabulary.PLANS, PLAN_NAMES),
        (vocabulary.PURPOSES, PLAN_NAMES),
        (vocabulary.ZONES, tables().zones),
        (FUSE_TYPES, fuse_tables().types),
        (MATERIALS, tables().materials),
        (INSULATIONS, tables().insulations),
        (SERIES, tables().series),
        (vocabulary.UNITS_SOLD, UNIT_WORDS),
        (vocabulary.TOOLS, TOOLS),
        (vocabulary.READINGS, QUANTITIES),
        (FORMS, set(KINDS) - OF_THE_SHOP),
    ],
)
def test_vocabulary_has_every_key_of_the_engine(words, keys):
    assert set(words) == set(keys)


def test_english_words_are_those_of_the_tables():
    assert {key: zone.name.partition(",")[0] for key, zone in tables().zones.items()} == dict(
        vocabulary.ZONES
    )
    assert dict(vocabulary.UNITS_SOLD) == UNIT_WORDS
    assert {key: known.name for key, known in tables().insulations.items()} == dict(INSULATIONS)
    for key, known in fuse_tables().types.items():
        assert fuse_standard(key) == known.standard
        # The range of ratings is left out where the rating stands beside the type.
        assert known.name.removesuffix(", 3 A to 40 A") == FUSE_TYPES[key]


def test_stages_have_all_kinds_of_steps_in_the_order_of_the_phases():
    staged = [kind for _, kinds in vocabulary.STAGES for kind in kinds]
    assert staged == list(KINDS)
    phases = [{PHASES[kind] for kind in kinds} for _, kinds in vocabulary.STAGES]
    assert all(max(one) < min(other) for one, other in pairwise(phases))


def test_cautions_of_customers_are_cautions():
    assert set(vocabulary.CUSTOMER_CAUTIONS) <= set(CAUTIONS)


# --- steps ---

ENGLISH = Words(DocumentOptions())


def as_the_engine_writes(text):
    plain = {"\u00a0": " ", "\u2011": "-", "\u00d7": "x", "mm²": "mm2"}
    return reduce(lambda told, sign: told.replace(sign, plain[sign]), plain, text)


def assert_known(order, circuits):
    for step in order.steps:
        task = step.task
        if task.kind not in OF_THE_SHOP:
            start = f"{circuits.get(task.circuit, '')}: "
            text = task.text.removeprefix(start) if len(start) > 2 else task.text
            anew = set_anew(ENGLISH, text, FORMS[task.kind])
            assert anew is not None, task.text
            # Signs of units are all that English documents say otherwise.
            if task.kind not in ("protect", "cut", "lay", "terminate"):
                assert as_the_engine_writes(anew) == text
            assert all(
                set_anew(Words(DocumentOptions(language=language)), text, FORMS[task.kind]) != anew
                for language in TRANSLATED
            )
        for check in task.checks:
            anew = set_anew(ENGLISH, check, CHECKS)
            assert anew is not None, check
            if not check.startswith("Current"):  # which is rounded by its size here
                assert as_the_engine_writes(anew) == check


def order_of(job):
    book = demo_book()
    priced = priced_job(job, book, tables(), fuse_tables())
    return work_order(priced, book, tables(), fuse_tables())


@pytest.mark.parametrize("name", DEMO_JOBS)
def test_steps_of_the_demo_jobs_are_known(name):
    job = stated_job(demo_job(name))
    assert_known(order_of(job), {circuit.key: circuit.description for circuit in job.circuits})


@settings(max_examples=60)
@given(drawn_jobs.jobs())
def test_steps_of_drawn_jobs_are_known(document):
    job = job_from_document(document, tables(), fuse_tables().types)
    assert_known(order_of(job), {circuit.key: circuit.description for circuit in job.circuits})


@pytest.mark.parametrize("fuse_type", FUSE_TYPES)
def test_a_fuse_type_in_words_is_read_back_as_itself(fuse_type):
    stated = f"fit the fuse of 2 A ({FUSE_TYPE_TEXTS[fuse_type]}), as the last connection."
    assert as_the_engine_writes(set_anew(ENGLISH, stated, FORMS["fuse"])) == stated
    german = Words(DocumentOptions(language="de"))
    assert german.say(FUSE_TYPES[fuse_type]) in set_anew(german, stated, FORMS["fuse"])


def test_a_text_of_no_form_is_none():
    assert set_anew(ENGLISH, "Stand on one leg.", CHECKS) is None


@pytest.mark.parametrize(
    ("language", "units", "text"),
    [
        ("en", "metric", "lay 2.20\u00a0m of 16\u00a0mm², in loom, tied: engine compartment."),
        ("en", "us", "lay 7.2\u00a0ft of 16\u00a0mm², in loom, tied: engine compartment."),
        (
            "de",
            "metric",
            "2,20\u00a0m 16\u00a0mm² im Schutzschlauch verlegen und festbinden: Motorraum.",
        ),
        (
            "es",
            "us",
            "Tender 7,2\u00a0ft de 16\u00a0mm² en tubo corrugado, atado: compartimento del motor.",
        ),
    ],
)
def test_a_step_is_set_in_language_and_units(language, units, text):
    words = Words(DocumentOptions(language=language, units=units))
    stated = "lay 2.20 m of 16 mm2, in loom, tied: engine compartment."
    assert set_anew(words, stated, FORMS["lay"]) == text
