"""A report page made without a kernel: the outputs a notebook would hold, laid out by our template through nbconvert."""

from __future__ import annotations

from functools import cache

import nbformat
from nbconvert.exporters import TemplateExporter
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output
from view_records import Compared

from toolbench import view
from toolbench.view import page

ORDER = (
    "show_conditions", "show_result", "plot_report", "show_caveats", "show_table", "show_runs", "show_budget",
    "show_cautions", "show_origin",
)  # fmt: skip


def notebook_of(compared: Compared) -> nbformat.NotebookNode:
    """A notebook with the outputs that the calls give."""
    cells = [new_markdown_cell("# Title", metadata={"tags": ["notebook"]})]
    for name in ORDER:
        data, metadata = getattr(view, name)(compared)._repr_mimebundle_()
        output = new_output("execute_result", data=data, metadata=metadata, execution_count=1)
        cells.append(new_code_cell(f"tb.{name}(comparison)", outputs=[output]))
    return new_notebook(cells=cells)


def exporter() -> TemplateExporter:
    """nbconvert's plain exporter on our template, made strict."""
    made = TemplateExporter(
        template_name=page.REPORT_TEMPLATE, extra_template_basedirs=[str(page.templates_folder())],
        template_file="index.html.j2",
    )  # fmt: skip
    page.prepare(made.environment)
    return made


@cache
def page_of(compared: Compared) -> str:
    """The finished page."""
    return str(exporter().from_notebook_node(notebook_of(compared))[0])
