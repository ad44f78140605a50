"""JUnit XML of a run, for whoever collects test results: a suite a folder, a case a rehearsal and a case a spoiled twin.

*Source*: the elements and attributes that the common readers agree on (testsuites, testsuite, testcase, failure, error,
system-out; name, tests, failures, errors, skipped, time, classname, message, type); no standard fixes the format.
There is no time stamp and no host name in it, so that the same run differs in its durations only.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import groupby
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from scenarios.result import Result
from scenarios.suite import Told
from scenarios.verdict import number

__all__ = ["junit_xml"]

_FORBIDDEN = re.compile(r"[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Signs that XML 1.0 cannot hold at all."""


def _clean(text: str) -> str:
    return _FORBIDDEN.sub("?", text)


def _limits(result: Result) -> str:
    """Broken limits, one a line, then what forbids to call the rehearsal passed."""
    lines = []
    for one in result.verdict.limits:
        if one.ok is False and one.wanted:
            lines.append(f"{one.name}: {one.told}; must be: {one.wanted}")
        elif one.ok is False:
            when = f" at {one.at_s:.2f} s" if one.at_s is not None else ""
            leg = f" ({one.leg})" if one.leg else ""
            unit = f" {one.unit}" if one.unit else ""
            sign = "<=" if one.upper else ">="
            id_ = f" [{one.id}]" if one.id else ""
            lines.append(f"{one.name}{id_}: {number(one.value)}{unit}{when}{leg}, limit {sign} {number(one.limit)}{unit}")
    return "\n".join([*lines, *result.verdict.gaps, *result.verdict.notes])


def _case(suite: Element, name: str, told: Told, seconds: float) -> Element:
    classname = re.sub(r"\.toml$", "", told.file).replace("\\", "/").strip("./").replace("/", ".")
    return SubElement(suite, "testcase", name=_clean(name), classname=_clean(classname), time=f"{seconds:.3f}")


def _say(case: Element, what: str, kind: str, message: str, text: str) -> None:
    SubElement(case, what, message=_clean(message), type=kind).text = _clean(text)


def _rehearsal(suite: Element, told: Told, strict: bool) -> None:
    if told.result is None or told.outcome is None:
        case = _case(suite, told.label, told, 0.0)
        _say(case, "error", "wrong input", told.bad[0] if told.bad else "wrong input", "\n".join(told.bad))
        return
    verdict = told.result.verdict
    case = _case(suite, told.result.scenario, told, told.result.wall_s)
    kept = verdict.word == "pass" if strict else told.outcome.as_expected
    if not kept:
        _say(case, "failure", verdict.word, told.outcome.text or verdict.sentence, _limits(told.result))
    beyond = [one for one in told.shrunk if one.beyond]
    if kept and beyond:
        lines = [f"{one.limit}: margin {number(one.before)} then, {number(one.now)} now" for one in beyond]
        _say(case, "failure", "margin", "a margin shrank beyond the tolerance", "\n".join(lines))
    SubElement(case, "system-out").text = _clean(f"{told.outcome.word}: {verdict.sentence}")


def _twin(suite: Element, told: Told) -> None:
    if told.twin is None or told.result is None:
        return
    twin = told.twin
    case = _case(suite, f"{told.result.scenario}, twin: {twin.key} = {twin.value}", told, 0.0)
    if twin.defects:
        _say(case, "failure", "twin", "; ".join(twin.defects), f"must break: {', '.join(twin.breaks)}\nbreaks: {', '.join(twin.broken)}")


def junit_xml(tolds: Sequence[Told], strict: bool, stray: Sequence[str] = ()) -> bytes:
    """JUnit XML of a run.

    Parameters
    ----------
    tolds
        What became of each rehearsal.
    strict
        True: a rehearsal that breaks a limit on purpose is a failure too, as where files were named one by one.
    stray
        Messages on files that are not even known to be scenarios; each is an error in a suite of its own.

    Returns
    -------
    bytes
        UTF-8 with an XML declaration.
    """
    root = Element("testsuites", name="levelrig rehearse")
    ordered = sorted(tolds, key=lambda told: told.folder)
    for folder, members in groupby(ordered, key=lambda told: told.folder):
        suite = SubElement(root, "testsuite", name=_clean(folder))
        for told in members:
            _rehearsal(suite, told, strict)
            _twin(suite, told)
    if stray:
        suite = SubElement(root, "testsuite", name="files that could not be read")
        for message in stray:
            case = SubElement(suite, "testcase", name=_clean(message.split(": ", 1)[0]), classname="input", time="0.000")
            _say(case, "error", "wrong input", message, message)
    for suite in root:
        _count(suite)
    for what in ("tests", "failures", "errors"):
        root.set(what, str(sum(int(suite.get(what, "0")) for suite in root)))
    root.set("time", f"{sum(float(suite.get('time', '0')) for suite in root):.3f}")
    indent(root, " ")
    body: bytes = tostring(root, encoding="utf-8", xml_declaration=True)
    return body + b"\n"


def _count(suite: Element) -> None:
    cases = suite.findall("testcase")
    suite.set("tests", str(len(cases)))
    suite.set("failures", str(len(suite.findall("testcase/failure"))))
    suite.set("errors", str(len(suite.findall("testcase/error"))))
    suite.set("skipped", "0")
    suite.set("time", f"{sum(float(case.get('time', '0')) for case in cases):.3f}")
