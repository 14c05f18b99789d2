"""The report as one HTML page without anything from elsewhere: it opens anywhere and prints as it stands."""

from __future__ import annotations

from html import escape

from benchapp.report.content import Content, Line, Pairs

_STYLE = """
@page { size: A4; margin: 16mm 18mm; }
body { font: 12px/1.5 "B612", "DejaVu Sans", sans-serif; color: #111; max-width: 720px; margin: 24px auto; }
h1 { font-size: 22px; margin: 8px 0 0; } h2 { font-size: 13px; border-bottom: 1px solid #bbb; margin: 18px 0 6px; }
.sub { color: #555; font-size: 14px; } .faint { color: #555; }
table { border-collapse: collapse; width: 100%; } td, th { text-align: left; padding: 2px 8px 2px 0;
  vertical-align: top; } th { font-weight: normal; color: #555; } .rows td { border-bottom: 1px solid #ddd; }
.number { font-size: 44px; margin: 6px 0; } .number b { font-weight: bold; } .number .rest { color: #555; }
.number .u { font-size: 26px; color: #555; } .number .unit { font-size: 22px; }
.plate { border: 2px solid #000; padding: 8px 12px; font-weight: bold; } .right { text-align: right; }
.bar { display: inline-block; height: 9px; background: #222; vertical-align: middle; margin-right: 6px; }
.sign { margin-top: 40px; display: flex; gap: 40px; } .sign div { border-top: 1px solid #000; flex: 1; color: #555; }
h2, .keep { break-after: avoid; break-inside: avoid; } svg { max-width: 100%; height: auto; }
"""
_WORDS = {"doubtful": "DOUBTFUL", "not-valid": "≠ NOT VALID"}


def page_of(content: Content, blocks_svg: str, limits_svg: str) -> str:
    """The whole page."""
    c = content
    parts = [f'<p class="plate">{_WORDS[c.mark]}</p>'] if c.mark in _WORDS else []
    parts += ['<p class="plate">SIMULATED: nothing was measured</p>'] if c.simulated else []
    sections = [
        ("Specimen", _pairs(c.specimen)),
        ("Result", _result(c)),
        ("Conformity", limits_svg + _list(c.conformity) if c.conformity else ""),
        ("Method", f"<p>{escape(c.method)}</p>"),
        ("Uncertainty", _budget(c.budget)),
        ("Examined", _list(c.examined)),
        ("Not tested", _list(c.not_tested)),
        ("Run", blocks_svg + _pairs(c.run)),
        ("What is said of the run", _list(c.flags)),
        ("Conditions", _pairs(c.conditions)),
        ("Instruments", _pairs(c.instruments)),
    ]
    parts += [f"<section><h2>{name}</h2>{body}</section>" for name, body in sections if body]
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(c.number)}</title>'
        f"<style>{_STYLE}</style></head><body><header><table><tr><td><h1>{escape(c.title)}</h1>"
        f'<div class="sub">{escape(c.subject)}</div></td><td style="width:38%">{_pairs(c.head)}</td></tr></table>'
        f"</header>{''.join(parts)}"
        '<div class="sign keep"><div>measured by</div><div>checked by</div></div>'
        f'<footer class="faint"><p>Digest of recipe, readings and statement (SHA-256): {escape(c.digest)}<br>'
        "Not to be reproduced except in full. The digits are those of the record.</p></footer></body></html>\n"
    )


def _result(c: Content) -> str:
    if not c.digits:
        return f"<p>{escape(c.sentence)}</p>"
    u = f'<span class="u">({escape(c.parenthesis)})</span>' if c.parenthesis else ""
    number = (
        f'<p class="number"><b>{escape(c.digits[: c.certain])}</b><span class="rest">{escape(c.digits[c.certain :])}'
        f'</span>{u} <span class="unit">{escape(c.unit)}</span></p>'
    )
    interval = f"<p><b>{escape(c.interval)}</b> <span class='faint'>{escape(c.basis)}</span></p>"
    return f"{number}{interval}<p>{escape(c.sentence)}</p>"


def _pairs(pairs: Pairs) -> str:
    rows = "".join(f"<tr><th>{escape(name)}</th><td>{escape(text)}</td></tr>" for name, text in pairs)
    return f"<table>{rows}</table>" if rows else ""


def _list(lines: tuple[str, ...]) -> str:
    return f"<ul>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</ul>" if lines else ""


def _budget(lines: tuple[Line, ...]) -> str:
    if not lines:
        return ""
    head = "<tr><th>contribution</th><th class='right'>u</th><th>distribution</th><th class='right'>ν</th><th>share"
    rows = "".join(
        f"<tr><td>{escape(one.name)}<br><span class='faint'>{escape(one.note)}</span></td>"
        f"<td class='right'>{escape(one.u)}</td><td>{escape(one.evaluated)}</td><td class='right'>"
        f"{escape(one.degrees)}</td><td><span class='bar' style='width:{120 * one.share:.1f}px'></span>"
        f"{one.share:.0%}</td></tr>"
        for one in lines
    )
    return f'<table class="rows">{head} of u²</th></tr>{rows}</table>'
