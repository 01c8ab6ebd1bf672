"""What was seen: field tables read, checked and joined, with an account of every row."""

from pva.field.account import account_lines, write_flagged, write_set_aside
from pva.field.read import read_records
from pva.field.records import FieldRecords, RowAccount
from pva.field.study import Study, read_study

__all__ = ["FieldRecords", "RowAccount", "Study", "account_lines", "read_records", "read_study",
           "write_flagged", "write_set_aside"]
