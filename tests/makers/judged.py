"""What becomes of a file that is offered as a master."""

from pathlib import Path

from glassine.base.errors import GlassineError
from glassine.masters import opening
from glassine.masters.notes import notes_on


def judge(name):
    """Return (codes it is held with, codes of notes, size px) of a file, all pixels decoded."""
    path = Path(name)
    try:
        header = opening.read_header(path)
        opening.prove_pixels(path)
        image = opening.open_image(path)
        with opening.decoding(path):
            image.write_to_memory()
    except GlassineError as error:
        for finding in error.findings:
            assert finding.what and finding.expected and finding.next_step
            assert not {"operand", "instance", "index out", "NoneType"} & set(finding.what.split())
        held = {each.code.removeprefix("masters.") for each in error.findings}
        return sorted(held), [], None
    told = notes_on(header, path.name)
    assert all(note.severity == "note" for note in told)
    noted = sorted({note.code.removeprefix("masters.") for note in told})
    return [], noted, [image.width, image.height]
