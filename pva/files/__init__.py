"""Reading and writing files: YAML with line numbers, tables as people keep them, atomic writes."""

from pva.files.tables import RawTable, read_table
from pva.files.writing import digest, shipped, write_bytes_atomic, write_text_atomic, write_with
from pva.files.yaml_reading import Positions, parse_value, read_yaml

__all__ = [
    "Positions", "RawTable", "digest", "parse_value", "read_table", "read_yaml", "shipped",
    "write_bytes_atomic", "write_text_atomic", "write_with",
]
