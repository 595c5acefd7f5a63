"""A survey as one HTML file: nothing is fetched, it prints on paper, and reads without colours and without a mouse."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from limitrules.report.figures import count_words, worst_words
from limitrules.report.order import CAUTIONS, grouped, missing_first, place, subject_words
from limitrules.report.text import assumed_words, concession_words, figures, verdict_sentence
from limitrules.rules.findings import Consequence, Finding, NotApplicable, Reason, SurveyResult, Verdict

# Verdicts are told apart by their word and by the weight of their edge; the inks differ in lightness too.
STYLE = """\
:root { color-scheme: light dark; --ink: #1d2731; --paper: #fcfcfa; --edge: #c9ced3; --soft: #f0f2f1;
  --breached: #8f1d1d; --marginal: #a05a00; --undetermined: #35617d; --met: #3d6b4f; }
@media (prefers-color-scheme: dark) { :root { --ink: #e4e8ea; --paper: #14191d; --edge: #47515a; --soft: #1e252b;
  --breached: #ff9d94; --marginal: #f2bd6d; --undetermined: #9cc7e4; --met: #9fd3b1; } }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 62rem; padding: 1.5rem; font: 1rem/1.5 system-ui, sans-serif;
  color: var(--ink); background: var(--paper); }
h1 { font-size: 1.6rem; margin: 0 0 .5rem; } h2 { font-size: 1.2rem; margin: 2rem 0 .5rem; }
h3 { font-size: 1rem; margin: 0; overflow-wrap: anywhere; }
nav ul { padding-left: 1.2rem; } a { color: inherit; } code { overflow-wrap: anywhere; }
.verdict { font-weight: 700; text-transform: uppercase; letter-spacing: .03em; }
article { border: 1px solid var(--edge); border-left-width: .5rem; border-radius: .25rem; margin: .8rem 0;
  padding: .7rem 1rem; break-inside: avoid; }
.breached { border-left-color: var(--breached); } .breached .verdict { color: var(--breached); }
.marginal { border-left-color: var(--marginal); } .marginal .verdict { color: var(--marginal); }
.undetermined { border-left-style: double; border-left-color: var(--undetermined); }
.undetermined .verdict { color: var(--undetermined); }
.met { border-left-color: var(--met); } .met .verdict { color: var(--met); }
article p { margin: .4rem 0; } .figures { font-weight: 600; }
ol, ul { margin: .4rem 0; padding-left: 1.4rem; } .caution { border-left: 3px solid; padding-left: .6rem; }
details { margin-top: .4rem; } summary { cursor: pointer; } .tree { list-style: none; padding-left: 1rem; }
.scroll { overflow-x: auto; } table { border-collapse: collapse; width: 100%; }
th, td { text-align: left; vertical-align: top; padding: .25rem .6rem .25rem 0; border-bottom: 1px solid var(--edge); }
aside { background: var(--soft); border: 1px solid var(--edge); padding: .7rem 1rem; margin: 1.5rem 0; }
@media print { @page { size: A4; margin: 15mm; } body { max-width: none; padding: 0; font-size: 10pt; }
  nav { display: none; } details > *:not(summary) { display: block; } }
"""


def survey_html(result: SurveyResult, fail_on: Consequence = Consequence.OUTAGE) -> str:
    """The report as one HTML document."""
    groups = grouped(result, fail_on)
    open_decided = [item for item in groups.open if item.verdict is not Verdict.UNDETERMINED]
    waiting = [item for item in groups.open if item.verdict is Verdict.UNDETERMINED]
    sections = [
        ("fails", "What fails", _articles(groups.failing)),
        ("open", f"What does not hold, but counts less than {fail_on.value}", _articles(open_decided)),
        ("undetermined", "What is not decided yet", _articles(waiting)),
        ("find-out", "To find out", _missing(result)),
        ("conceded", "Conceded", _articles(groups.conceded)),
        ("met", "Checked and met", _met(groups.met)),
        ("not-applicable", "Rules that did not apply", _not_applicable(result.not_applicable)),
        ("used", "What was used", _used(result)),
    ]
    shown = [(name, title, body) for name, title, body in sections if body]
    title = f"Survey of {result.system}"
    return (
        "\n".join(
            [
                "<!DOCTYPE html>",
                '<html lang="en">',
                "<head>",
                '<meta charset="utf-8">',
                '<meta name="viewport" content="width=device-width, initial-scale=1">',
                f"<title>{escape(title)}</title>",
                f"<style>\n{STYLE}</style>",
                "</head>",
                "<body>",
                f"<header><h1>{escape(title)}</h1>",
                f"<p><strong>{escape(verdict_sentence(groups, fail_on))}</strong></p>",
                f"<p>Document: <code>{escape(result.file)}</code></p>",
                _list(result.notes),
                _cautions(),
                "</header>",
                _contents(shown),
                "<main>",
                *(f'<section id="{name}"><h2>{escape(text)}</h2>\n{body}\n</section>' for name, text, body in shown),
                "</main>",
                f"<footer>{_cautions()}</footer>",
                "</body>",
                "</html>",
            ]
        )
        + "\n"
    )


def _contents(sections: Iterable[tuple[str, str, str]]) -> str:
    items = "".join(f'<li><a href="#{name}">{escape(title)}</a></li>' for name, title, _ in sections)
    return f'<nav aria-label="Contents"><ul>{items}</ul></nav>'


def _cautions() -> str:
    items = "".join(f"<li>{escape(text)}</li>" for text in CAUTIONS)
    return f'<aside aria-label="Cautions"><strong>Before you act</strong><ul>{items}</ul></aside>'


def _list(texts: Iterable[str]) -> str:
    items = "".join(f"<li>{escape(text)}</li>" for text in texts)
    return f"<ul>{items}</ul>" if items else ""


def _articles(findings: Iterable[Finding]) -> str:
    return "\n".join(_article(finding) for finding in findings)


def _article(finding: Finding) -> str:
    verdict = finding.verdict.value
    head = (
        f'<h3><span class="verdict">{escape(verdict)}</span> · {escape(finding.consequence.value)} · '
        f"{escape(subject_words(finding.subject))} · <code>{escape(finding.rule)}</code></h3>"
    )
    parts = [head, f"<p>{escape(finding.title)}.</p>", f"<p>{escape(finding.sentence)}</p>"]
    if figures(finding):
        parts.append(f'<p class="figures">{escape(figures(finding))}</p>')
    if finding.missing:
        parts.append(f"<p>Missing: {', '.join(f'<code>{escape(path)}</code>' for path in finding.missing)}</p>")
    if finding.governing:
        parts.append(f"<p>Governs: {escape(', '.join(finding.governing))}</p>")
    if finding.assumed:
        parts.append(f"<p>Rests on an assumption: {escape(assumed_words(finding))}</p>")
    if finding.concession is not None:
        parts.append(f"<p>{escape(concession_words(finding.concession))}</p>")
    if finding.remedies:
        remedies = "".join(f"<li>{escape(text)}</li>" for text in finding.remedies)
        parts.append(f"<p>Try, in this order:</p><ol>{remedies}</ol>")
    if finding.caution:
        parts.append(f'<p class="caution">Caution: {escape(finding.caution)}</p>')
    if finding.reasons:
        parts.append(f"<details><summary>The whole argument</summary>{_tree(finding.reasons)}</details>")
    if finding.evidence:
        parts.append(f"<p>Proved on site by: {escape(finding.evidence)}</p>")
    return f'<article class="{verdict}">{"".join(parts)}</article>'


def _tree(reasons: Iterable[Reason]) -> str:
    items = []
    for reason in reasons:
        value = f" = {escape(reason.value)}" if reason.value else ""
        note = f" ({escape(reason.note)})" if reason.note else ""
        stated = f" <small>{escape(reason.path)}, {escape(place(reason.span))}</small>" if reason.path else ""
        below = _tree(reason.parts) if reason.parts else ""
        items.append(f"<li><code>{escape(reason.text)}</code>{value}{note}{stated}{below}</li>")
    return f'<ul class="tree">{"".join(items)}</ul>'


def _missing(result: SurveyResult) -> str:
    rows = [
        [f"<code>{escape(item.path)}</code>", escape(item.meaning), escape(item.worst.value),
         count_words(item.decides, "finding") if item.decides else "none by itself"]
        for item in missing_first(result.missing)
    ]  # fmt: skip
    return _table(["value", "what it is", "worst class", "decides"], rows)


def _met(findings: Iterable[Finding]) -> str:
    rows = []
    for finding in findings:
        worst = worst_words(finding.headroom) if finding.headroom else "holds"
        note = f"; assumed: {assumed_words(finding)}" if finding.assumed else ""
        rows.append(
            [f"<code>{escape(finding.rule)}</code>", escape(subject_words(finding.subject)), escape(worst + note)]
        )
    return _table(["rule", "subject", "headroom"], rows)


def _not_applicable(items: Iterable[NotApplicable]) -> str:
    rows = [
        [f"<code>{escape(item.rule)}</code>", escape(subject_words(item.subject)), escape(item.because)]
        for item in items
    ]
    return _table(["rule", "subject", "why not"], rows)


def _used(result: SurveyResult) -> str:
    rows = [[escape(i.name), escape(i.version), f"<code>{escape(i.content)}</code>"] for i in result.rulepacks]
    return _table(["rulepack", "version", "content"], rows)


def _table(heads: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    body = "".join(f"<tr>{''.join(f'<td>{cell}</td>' for cell in row)}</tr>" for row in rows)
    if not body:
        return ""
    head = "".join(f'<th scope="col">{escape(text)}</th>' for text in heads)
    return f'<div class="scroll"><table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'
