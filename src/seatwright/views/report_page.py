"""The report of a render as a page that opens from disk."""

from __future__ import annotations

from collections.abc import Sequence

from seatwright.acoustics.decay_curves import HallDecays
from seatwright.sound.spectra import Picture
from seatwright.views.html_page import (
    html_details,
    html_figure,
    html_page,
    html_section,
    html_table,
    paragraph,
)
from seatwright.views.page_parts import (
    hall_part,
    measured_table,
    page_footer,
    page_header,
    plan_part,
    seats_part,
    warnings_part,
)
from seatwright.views.report import Report, StemRow, shown, unsigned
from seatwright.views.report_plots import (
    Pictured,
    course_plots,
    nominal,
    spectrum_plots,
    trimmed_picture,
)

LISTEN = (
    "Before the first listening set a low level and raise it slowly: a full orchestra is louder "
    "than one stem."
)


def report_page(
    report: Report, plan: str, pictures: Sequence[Picture], decays: HallDecays | None
) -> str:
    """A render as a page.

    Parameters
    ----------
    report : Report
    plan : str
        The stage plan as SVG, from `stage_plan`.
    pictures : sequence of Picture
        Of each output, before the trim, in the order of the report's outputs.
    decays : HallDecays or None

    Returns
    -------
    str
        HTML.
    """
    loudness = {row.name: row.integrated_lufs for row in report.outputs if row.kind == "stems"}
    title = report.title or report.scene
    measured = [measured_table(report.measured)] if report.measured is not None else []
    body = [
        page_header(title, _under_title(report)),
        "<main>",
        paragraph(LISTEN, "caution"),
        *warnings_part(report.warnings),
        _outputs_part(report),
        *_sound_part(report, pictures),
        plan_part(plan),
        seats_part(report.seats, loudness),
        hall_part(report.hall, decays, measured),
        _made_part(report),
        "</main>",
        page_footer(),
    ]
    return html_page(f"{title}: report", body)


def _under_title(report: Report) -> list[str]:
    lines = [f"seating {report.seating}"] if report.seating else []
    excerpt = f", from {report.first_frame / report.rate:.3f} s" if report.first_frame else ""
    lines.append(
        f"{report.frames / report.rate:.2f} s at {report.rate} Hz, {report.encoding}{excerpt}"
    )
    lines.append(f"trim {report.trim_db:+.2f} dB on every output")
    return lines


def _outputs_part(report: Report) -> str:
    rows = [
        [row.file, shown(row.integrated_lufs), unsigned(row.loudness_range_lu)]
        + [shown(v) for v in (row.true_peak_dbtp, row.sample_peak_dbfs)]
        for row in report.outputs
    ]
    heads = ["output", "loudness LUFS", "range LU", "true peak dBTP", "sample peak dBFS"]
    return html_section("Outputs", [html_table("Levels after the trim", heads, rows)])


def _sound_part(report: Report, pictures: Sequence[Picture]) -> list[str]:
    """Mix and sections over time and frequency; outputs of other kinds have their levels alone."""
    shown_outputs = [
        Pictured(row.name, trimmed_picture(picture, report.trim_db))
        for row, picture in zip(report.outputs, pictures, strict=True)
        if row.kind in ("mix", "sections")
    ]
    if not shown_outputs:
        return []
    behind = "Dashed: the mix."
    courses = course_plots(shown_outputs, report.first_frame / report.rate)
    return [
        html_section(
            "Over time",
            [html_figure(f"Mean power, both channels together. {behind}", courses, "many")],
        ),
        html_section(
            "Over frequency",
            [
                html_figure(
                    f"Mean power in third octaves, both channels together. {behind}",
                    spectrum_plots(shown_outputs),
                    "many",
                ),
                html_details("The spectra in figures", [_spectrum_table(shown_outputs)]),
            ],
        ),
    ]


def _spectrum_table(outputs: Sequence[Pictured]) -> str:
    rows = [
        [nominal(band), *(f"{each.picture.spectrum_db[place]:z.1f}" for each in outputs)]
        for place, band in enumerate(outputs[0].picture.bands)
    ]
    heads = ["third octave Hz", *(each.name for each in outputs)]
    return html_table("Mean power in dB relative to full scale", heads, rows)


def _made_part(report: Report) -> str:
    """What the render was made of and with."""
    facts = [
        ["scene", report.scene],
        ["SHA-256 of the scene", report.scene_sha256],
        ["length of the responses", f"{report.response_frames / report.rate:.3f} s"],
        ["sound travel taken away", f"{report.origin * 1000.0:.2f} ms"],
    ]
    if report.head:
        facts.append(["head", report.head])
    hashes = [[row.file, row.sha256] for row in report.outputs]
    return html_section(
        "Made of",
        [
            html_table("The render", ["what", "value"], facts),
            html_table(
                "Stems as they were read",
                ["stem", "Hz", "channels", "s", "encoding"],
                map(_stem_cells, report.stems),
            ),
            html_table("Versions", ["package", "version"], map(list, report.versions.items())),
            html_details(
                "SHA-256 of every file",
                [
                    html_table("Outputs", ["output", "SHA-256"], hashes),
                    html_table(
                        "Stems",
                        ["stem", "SHA-256"],
                        [[stem.file, stem.sha256] for stem in report.stems],
                    ),
                ],
            ),
        ],
    )


def _stem_cells(stem: StemRow) -> list[str]:
    return [
        stem.file,
        f"{stem.rate}",
        f"{stem.channels}",
        f"{stem.frames / stem.rate:.2f}",
        stem.encoding,
    ]
