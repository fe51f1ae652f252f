"""The commands ``conformance`` and ``deliver``: output, exit status, faults of the command line."""

import json
import sys
from pathlib import Path

import pytest
from conformance_samples import sample, serving

from loomwright import cli
from loomwright.conformance.service_answers import bill_bytes
from loomwright.conformance.specification import FOLDER

receiver = sample("receiver")


def test_report_names_each_requirement(capsys: pytest.CaptureFixture[str]) -> None:
    with serving(receiver.server()) as url:
        assert cli.main(["conformance", "receiver", "--url", url]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "pass  R-014  The hash is checked" in lines
    assert "  --  V-014  The token is wanted" in lines
    assert "      receiver-token: no token is given (--token-file)" in lines
    assert lines[-1] == (
        f"receiver {url}: 33 requirements, 30 passed, 0 failed, 0 advice, 3 not exercised"
    )


def test_report_as_json_says_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    handler = type("Unmarked", (receiver.Handler,), {"allow": lambda *_: None})
    with serving(receiver.server(handler)) as url:
        assert cli.main(["conformance", "receiver", "--url", url]) == 1
        text = capsys.readouterr().out
        assert cli.main(["conformance", "receiver", "--url", url, "--json"]) == 1
    report = json.loads(capsys.readouterr().out)
    by_number = {entry["number"]: entry for entry in report["requirements"]}
    assert by_number["V-015"]["result"] == "failed"
    assert by_number["V-015"]["sentence"] in text
    for finding in by_number["V-015"]["findings"]:
        assert f"      {finding['case']}: {finding['text']}\n" in text
    assert report["counts"] == {"passed": 29, "failed": 1, "advice": 0, "not_exercised": 3}
    readme = (FOLDER / "README.md").read_text("utf-8")
    for name in [*report, *by_number["V-015"], *by_number["V-015"]["findings"][0]]:
        assert f"`{name}`" in readme
    assert (report["role"], report["subject"]) == ("receiver", url)
    assert (report["specification"], report["conforms"]) == ("1.0", False)


def test_one_requirement_can_be_judged_alone(capsys: pytest.CaptureFixture[str]) -> None:
    with serving(receiver.server()) as url:
        assert cli.main(["conformance", "receiver", "--url", url, "--only", "R-014"]) == 0
    assert "1 requirements, 1 passed" in capsys.readouterr().out


def test_nothing_exercised_is_a_miss(capsys: pytest.CaptureFixture[str]) -> None:
    with serving(receiver.server()) as url:
        assert cli.main(["conformance", "receiver", "--url", url, "--only", "V-014"]) == 1
    assert "0 passed, 0 failed" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["receiver", "--url", "ftp://127.0.0.1/"], "no http or https address"),
        (["receiver", "--url", "http://127.0.0.1:port"], "is no address"),
        (["receiver", "--url", "http://127.0.0.1:1"], "no answer"),
        (["receiver", "--url", "http://127.0.0.1:1", "--token-file", "/no/such"], "token"),
        (["receiver", "--url", "http://127.0.0.1:1", "--only", "R-999"], "no case"),
        (
            ["receiver", "--url", "http://127.0.0.1:1", "--specification", "/no/such"],
            "no specifica",
        ),
        (["provider", "--url", "http://127.0.0.1:1"], "no answer"),
        (["provider", "--factory", "no_such_name"], "neither MODULE:CALLABLE nor an entry point"),
        (["provider", "--factory", "no_such_module:made"], "ModuleNotFoundError"),
        (["provider", "--factory", "json:loads"], "TypeError"),
        (["provider", "--factory", "json:loads", "--option", "text"], "NAME=TEXT"),
        (["caller", "--command", "true"], "neither {url} nor {receiver_url}"),
        (["caller", "--command", "true {url} {colour}"], "{colour}"),
        (["caller", "--command", "true '{url}"], "cannot be read"),
        (["caller", "--command", "no-such-command {url}"], "cannot be started"),
        (["caller", "--command", "true {url}"], "asked for nothing"),
        (["caller", "--command", "true {url}", "--patience", "0"], "--patience"),
        (["caller", "--command", "true {url}", "--at-once", "0"], "--at-once"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_fault_of_the_command_line_is_one_line(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["conformance", *words]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert said in captured.err
    assert captured.err.count("\n") == 1


@pytest.mark.parametrize(
    "words", [["conformance"], ["conformance", "shop"], ["conformance", "provider"], ["deliver"]]
)
def test_missing_word_is_a_fault_of_the_command_line(words: list[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main(words)
    assert ended.value.code == 2


def test_other_commands_do_not_load_the_service() -> None:
    import subprocess  # noqa: PLC0415  this test alone starts a process

    program = (
        "import sys; from loomwright import cli\n"
        "try: cli.main(['--help'])\n"
        "except SystemExit: pass\n"
        "sys.exit('flask' in sys.modules or 'loomwright.conformance' in sys.modules)"
    )
    run = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stderr
    assert "conformance" in run.stdout


PLUGIN = """
class Provider:
    def __init__(self, options):
        self.name = options["name"]
    def capabilities(self):
        named = {"specification": "1.0", "roles": ["provider"], "name": self.name}
        return {**named, "serves": [], "price_books": []}
    def price_book(self, name):
        return None
    labour_rates = tax_rules = stock = mapping = price_book
"""


def test_factory_is_found_where_the_command_is_started(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "plugin_of_the_test.py").write_text(PLUGIN, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    words = ["conformance", "provider", "--factory", "plugin_of_the_test:Provider"]
    assert cli.main([*words, "--option", "name=Wren=Shop"]) == 0
    assert "pass  P-008  Unknown names are refused" in capsys.readouterr().out
    assert "" not in sys.path


def test_factory_is_found_by_its_entry_point(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "plugin_by_name.py").write_text(PLUGIN, encoding="utf-8")
    installed = tmp_path / "plugin_by_name-1.0.dist-info"
    installed.mkdir()
    (installed / "METADATA").write_text("Name: plugin-by-name\nVersion: 1.0\n", encoding="utf-8")
    (installed / "entry_points.txt").write_text(
        "[loomwright.providers]\nby_name = plugin_by_name:Provider\n", encoding="utf-8"
    )
    monkeypatch.syspath_prepend(tmp_path)
    words = ["conformance", "provider", "--factory", "by_name", "--option", "name=Wren"]
    assert cli.main(words) == 0
    assert "pass  P-008  Unknown names are refused" in capsys.readouterr().out


@pytest.fixture
def quote(tmp_path: Path) -> Path:
    file = tmp_path / "quote.json"
    file.write_bytes(bill_bytes())
    return file


def test_delivery_is_recorded_once(quote: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with serving(receiver.server()) as url:
        words = ["deliver", "--to", url, "--quote", str(quote), "--reference", "job 4711"]
        assert cli.main(words) == 0
        assert "is recorded (sent once)" in capsys.readouterr().out
        assert cli.main(words) == 0
        assert "was recorded before (sent once)" in capsys.readouterr().out


def test_conflict_is_shown_with_the_words_of_the_receiver(
    quote: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with serving(receiver.server()) as url:
        assert cli.main(["deliver", "--to", url, "--quote", str(quote)]) == 0
        assert cli.main(["deliver", "--to", url, "--quote", str(quote), "--reference", "2"]) == 1
    said = capsys.readouterr().err
    assert "is not recorded (sent once): status 409" in said
    assert "Another delivery is recorded under this quote_id." in said


def test_faults_of_a_delivery_are_listed(quote: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bill = json.loads(quote.read_bytes())
    bill["total"] = "0.01"
    quote.write_text(json.dumps(bill), encoding="utf-8")
    with serving(receiver.server()) as url:
        assert cli.main(["deliver", "--to", url, "--quote", str(quote)]) == 1
    said = capsys.readouterr().err
    assert "  /bill/total: is 0.01" in said
    assert "  /bill/balance_due: " in said


def test_token_is_sent(quote: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    token = tmp_path / "token"
    token.write_text("token-of-the-test\n", encoding="ascii")
    with serving(receiver.server(token="token-of-the-test")) as url:
        words = ["deliver", "--to", url, "--quote", str(quote)]
        assert cli.main(words) == 1
        assert "status 401" in capsys.readouterr().err
        assert cli.main([*words, "--token-file", str(token)]) == 0


@pytest.mark.parametrize("content", [b"", b"[]", b"{}", b'{"verdict": "conductor_found"}'])
def test_what_is_no_bill_is_not_delivered(
    content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "quote.json"
    file.write_bytes(content)
    assert cli.main(["deliver", "--to", "http://127.0.0.1:1", "--quote", str(file)]) == 2
    assert "the quote is no" in capsys.readouterr().err


def test_missing_file_and_wrong_address_are_faults_of_the_command_line(
    quote: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["deliver", "--to", "http://127.0.0.1:1", "--quote", "/no/such"]) == 2
    assert cli.main(["deliver", "--to", "127.0.0.1", "--quote", str(quote)]) == 2
    assert capsys.readouterr().err.count("\n") == 2
