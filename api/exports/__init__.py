"""The history as files: JSON Lines that can be verified, CSV, a workbook, and paper. Same records and arguments, same bytes."""

from pathlib import Path

from api.exports.answer import summary_json
from api.exports.book import xlsx
from api.exports.first_page import Papers
from api.exports.fleet_lines import fleet_jsonl
from api.exports.frame import ExportFrame, Summary, export_summary
from api.exports.lines import jsonl
from api.exports.paper import pdf
from api.exports.table import BOM, COLUMNS, csv_rows

SCHEMA = Path(__file__).with_name("history.schema.json")
"""JSON Schema 2020-12 of a line of the JSON Lines export."""

__all__ = [
    "BOM",
    "COLUMNS",
    "SCHEMA",
    "ExportFrame",
    "Papers",
    "Summary",
    "csv_rows",
    "export_summary",
    "fleet_jsonl",
    "jsonl",
    "pdf",
    "summary_json",
    "xlsx",
]
