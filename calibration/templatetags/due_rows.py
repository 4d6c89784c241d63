"""One row of the due list as one string: fifty of them cost less so than the cells of a template.

What people typed is escaped once in ``due_row``; all else is numbers, days and pictures made here.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable
from html import escape
from typing import Any

from django import template
from django.utils.safestring import SafeString

from calibration.due.reads import DueRow
from calibration.templatetags.pictures import limit_day, span_strip, tube, verdict
from plant.quantities import day_text, number, percent
from plant.templatetags.marks import status

register = template.Library()

NO_RESULT = '<span class="soft">no result yet</span>'
NO_DRIFT = '<span class="soft">not known yet</span>'


@register.simple_tag
def due_row(
    row: DueRow, plans: Collection[int], defers: Collection[int], ticked: bool
) -> SafeString:
    """``{% due_row row plans may_defer tick_all %}``: ids of the sites where the reader plans and
    may defer.
    """
    tag, tank, area = escape(row.tag), escape(f"{row.tank} {row.product}"), escape(row.area)
    tick = _tick(row, tag, ticked) if row.site_id in plans else ""
    defer = ""
    if row.site_id in defers and row.status.kind != "off":
        defer = f'<a href="/points/{row.pk}/defer/">defer<span class="hide"> {tag}</span></a>'
    return SafeString(
        f'<tr><td class="lead nowrap">{tick}<a class="plate" '
        f'href="/points/{row.pk}/">{tag}</a></td>'
        f'<td class="tank"><span>{tank} <span class="soft">{area}</span></span></td>'
        f'<td class="mark">{status(row.status)}{_reason(row)}</td>{_job(row)}'
        f'<td class="run">{tube(row.run)}</td><td class="result">{_result(row)}</td>'
        f'<td data-label="Drift, % a year">{_drift(row)}</td>'
        f'<td class="num" data-label="Work, h">{number(row.hours, 1)}</td><td>{defer}</td></tr>\n'
    )


def _reason(row: DueRow) -> str:
    """The worst of what is known of the point."""
    first = next((reason for reason in row.status.reasons if not reason.is_note), None)
    return f'<br><span class="soft reason">{escape(first.text)}</span>' if first else ""


def _tick(row: DueRow, tag: str, ticked: bool) -> str:
    if not row.may_join:
        return f'<input type="checkbox" disabled aria-label="{tag} cannot join a round now"> '
    checked = " checked" if ticked else ""
    return (
        f'<input type="checkbox" name="point" value="{row.pk}" aria-label="{tag} into the '
        f'round"{checked}> '
    )


def _job(row: DueRow) -> str:
    if not row.job:
        return "<td></td>"
    shown = f'<a href="/rounds/{row.round_id}/">{row.job}</a>' if row.round_id else row.job
    when = f" {_day(row.job_day)}" if row.job_day else ""
    who = f'<span class="soft">{escape(row.technician)}{when}</span>'
    return f'<td data-label="Job"><span>{shown} {who}</span></td>'


def _result(row: DueRow) -> str:
    if row.result is None:
        return NO_RESULT
    found, left, tolerance, word, done_on = row.result
    strip = span_strip(found, left, tolerance)
    return f'{strip} <span class="soft nowrap">{verdict(word)} {_day(done_on)}</span>'


def _drift(row: DueRow) -> str:
    if row.drift is None:
        return NO_DRIFT
    if row.crossing_on is None:
        return f"<span>{percent(row.drift)}</span>"
    limit = limit_day(row.crossing_on, row.day, row.result.done_on if row.result else None)
    return f'<span>{percent(row.drift)} <span class="soft">{limit}</span></span>'


def _day(on: dt.date) -> str:
    return f'<time datetime="{on}">{day_text(on)}</time>'


@register.simple_tag
def choices(pairs: Iterable[tuple[Any, str]], chosen: Any) -> SafeString:
    """``{% choices pairs chosen %}``: the options of a filter, the first of them "all"."""
    options = ['<option value="">all</option>']
    for value, name in pairs:
        mark = " selected" if value == chosen else ""
        options.append(f'<option value="{escape(str(value))}"{mark}>{escape(name)}</option>')
    return SafeString("".join(options))
