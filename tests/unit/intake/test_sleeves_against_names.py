"""A sleeve whose name tells one item and whose code another is for review, with both shown."""

from glassine.base import settings
from makers import session
from makers.step_calls import taken_in


def asked(folder, **naming):
    more = {"intake": {"watch_s": 0}, "naming": naming}
    result = taken_in(folder, {"batch": "b", "settings": settings.load(more)})
    return {
        item["item"]: [f["what"] for f in item["findings"] if f["code"] == "intake.two_ways"]
        for item in result["items"]
    }


def test_a_code_of_another_item_is_asked_about_and_the_own_one_is_not(tmp_path):
    folder = tmp_path / "b"
    folder.mkdir()
    for item, code in (("PEH-0622", "PEH-0623"), ("PEH-0623", "PEH-0623")):
        picture = session.sleeve(code, form="qr", degrees=20)
        session.write(folder / f"{item}_sleeve.tif", picture, 10)
        session.write(folder / f"{item}_01.tif", session.film(int(item[-1]), (220, 330)), 20)
    (folder / "catalogue.csv").write_text("item_id,title\nPEH-0622,A\nPEH-0623,B\n")
    told = asked(folder)
    assert told["PEH-0623"] == []
    assert told["PEH-0622"] == ["Its name says PEH-0622; the label in its picture says PEH-0623."]
    assert asked(folder, identify=["name", "catalogue"])["PEH-0622"] == []
