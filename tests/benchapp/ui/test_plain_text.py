"""No name, identity or error is taken for markup, and no widget can be made that would."""

import ast
from pathlib import Path

import benchapp.ui
from benchapp.ui.widgets.controls import plain_label, tip

_FOLDER = Path(benchapp.ui.__file__).parent
# The one rich title is of our own words and colours; the tip of a QWidget is set in one place.
_MAY = {"QLabel": {"widgets/controls.py", "plots/time_plot.py"}, "setToolTip": {"widgets/controls.py"}}
_NEVER = {"setHtml", "setRichText", "insertHtml"}


def test_labels_and_tips_are_plain_by_construction() -> None:
    for path in _FOLDER.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
            assert name not in _NEVER, path
            if name == "setToolTip" and ast.unparse(node.args[0]).startswith("tip("):
                continue
            assert name not in _MAY or str(path.relative_to(_FOLDER)) in _MAY[name], f"{path}: {ast.unparse(node)}"


def test_markup_is_shown_as_it_is(window: object) -> None:
    from PySide6.QtCore import Qt

    label = plain_label("<b>shunt</b>")
    assert label.textFormat() is Qt.TextFormat.PlainText
    assert tip("<img src=x>") == "<qt>&lt;img src=x&gt;</qt>"
