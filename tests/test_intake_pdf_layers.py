"""Layers of a PDF page: carried over, hidden ones stay hidden, chosen by name."""

from io import BytesIO

import numpy as np
import pikepdf
import pypdfium2
import pytest
from pikepdf import Array, Dictionary, Name

from decalprep.errors import UsageProblem
from decalprep.intake import IntakeOptions
from decalprep.intake.pdf import read_pdf

SQUARES = b"/OC /A BDC 0 g 0 0 10 10 re f EMC /OC /B BDC 0 g 20 0 10 10 re f EMC"


@pytest.fixture
def layered(tmp_path):
    """Two layers, 'legend' on and 'notes' off, and a third that only another page uses."""
    pdf = pikepdf.new()
    a, b, other = (
        pdf.make_indirect(Dictionary(Type=Name.OCG, Name=n)) for n in ("legend", "notes", "other")
    )
    for name, groups in (("A", (a, b)), ("C", (other,))):
        table = Dictionary()
        for key, group in zip(("/A", "/B"), groups, strict=False):
            table[key] = group
        page = Dictionary(
            Type=Name.Page,
            MediaBox=Array([0, 0, 30, 10]),
            Resources=Dictionary(Properties=table),
            Contents=pdf.make_stream(SQUARES),
        )
        pdf.pages.append(pikepdf.Page(page))
        assert name
    config = Dictionary(OFF=Array([b]), Order=Array([a, b, other]))
    pdf.Root.OCProperties = Dictionary(OCGs=Array([a, b, other]), D=config)

    def save(change=lambda pdf: None, **said):
        change(pdf)
        path = tmp_path / "layers.pdf"
        pdf.save(path)
        return read_pdf(path, IntakeOptions(**said))

    return save


def inked(artwork):
    """Whether each of the two squares shows, in pdfium's drawing."""
    page = pypdfium2.PdfDocument(artwork.page_pdf)[0]
    grey = np.asarray(page.render(scale=1, grayscale=True).to_pil())
    return bool(grey[5, 5] < 128), bool(grey[5, 25] < 128)


def test_hidden_layers_stay_hidden_and_are_named(layered):
    artwork = layered()
    assert artwork.layers == ("legend", "notes")
    assert inked(artwork) == (True, False)
    (notice,) = [n for n in artwork.notices if n.code == "layers-hidden"]
    assert "'notes'" in notice.text


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ({"show_layers": ("notes",)}, (True, True)),
        ({"hide_layers": ("legend",)}, (False, False)),
        ({"show_layers": ("notes",), "hide_layers": ("legend",)}, (False, True)),
    ],
)
def test_layers_are_chosen_by_name(layered, said, shown):
    assert inked(layered(**said)) == shown


def test_an_unknown_layer_is_refused_with_the_names_there_are(layered):
    with pytest.raises(UsageProblem, match="no layer 'keel'; its layers are: 'legend', 'notes'"):
        layered(show_layers=("keel",))


def test_layers_of_other_pages_are_left_behind(layered):
    out = pikepdf.open(BytesIO(layered().page_pdf))
    assert [str(g.Name) for g in out.Root.OCProperties.OCGs] == ["legend", "notes"]


def test_hidden_in_print_counts_as_hidden(layered):
    def print_off(pdf):
        legend = pdf.Root.OCProperties.OCGs[0]
        legend.Usage = Dictionary(Print=Dictionary(PrintState=Name.OFF))
        rule = Dictionary(Event=Name.Print, Category=Array([Name.Print]), OCGs=Array([legend]))
        pdf.Root.OCProperties.D["/AS"] = Array([rule])

    assert inked(layered(print_off)) == (False, False)


def test_base_state_off(layered):
    def base_off(pdf):
        config = pdf.Root.OCProperties.D
        config.BaseState = Name.OFF
        config.ON = Array([pdf.Root.OCProperties.OCGs[1]])
        config.OFF = Array()

    assert inked(layered(base_off)) == (False, True)


def test_layers_survive_where_the_page_is_turned(layered):
    def turn(pdf):
        pdf.pages[0].obj.Rotate = 180

    artwork = layered(turn)
    page = pypdfium2.PdfDocument(artwork.page_pdf)[0]
    grey = np.asarray(page.render(scale=1, grayscale=True).to_pil())
    assert grey[5, 25] < 128
    assert grey[5, 5] > 128
