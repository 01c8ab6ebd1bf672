"""Reading and writing files: YAML with line numbers, tables as people keep them, atomic writes."""

from pva.files.sheet_text import csv_text, frame_text, harmless, printable, restored
from pva.files.tables import RawTable, read_table
from pva.files.writing import (
    as_written,
    digest,
    shipped,
    together,
    whole_folder,
    write_bytes_atomic,
    write_text_atomic,
    write_with,
)
from pva.files.yaml_reading import Positions, parse_value, read_yaml

__all__ = [
    "Positions", "RawTable", "as_written", "csv_text", "digest", "frame_text", "harmless",
    "parse_value", "printable", "read_table", "read_yaml", "restored", "shipped", "together",
    "whole_folder",     "write_bytes_atomic", "write_text_atomic", "write_with",
]
