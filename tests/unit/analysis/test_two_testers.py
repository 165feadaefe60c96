"""One module that two testers talk to is one module, under one name. Common practice, no source."""

from pathlib import Path

from analysis import analyse
from analysis.story import module_id

FIXTURES = Path(__file__).parents[3] / "fixtures"


def test_the_link_of_a_second_tester_is_no_module_of_its_own() -> None:
    for names in ([], [FIXTURES / "coach_names.toml"]):
        report = analyse(FIXTURES / "coach-two-testers" / "capture.log", names=names).to_dict()
        assert [module["link"] for module in report["modules"] if "2A" in module["link"]] == ["can0:18DA2AF1>18DAF12A"]


def test_names_call_a_module_the_same_whoever_asks_it() -> None:
    report = analyse(FIXTURES / "coach-two-testers" / "capture.log", names=[FIXTURES / "coach_names.toml"])
    labels = {link["link"]: link["label"] for link in report.to_dict()["links"]}
    assert labels["can0:18DA2AF9>18DAF92A"] == labels["can0:18DA2AF1>18DAF12A"] == "DUC"


def test_an_address_extension_tells_modules_with_the_same_ids_apart() -> None:
    assert module_id("can0:6F1.44>6F9.44") != module_id("can0:6F1.45>6F9.45")
    assert module_id("can0:6F1.12>612.F1") == module_id("can0:6F3.12>612.F3")
    assert module_id("can0:18DA2AF1>18DAF12A") == module_id("can0:18DA2AF9>18DAF92A")
