"""The command line. Commands only call the package; nothing heavy is loaded before it is needed."""

import click

from pva.cli.checking import check
from pva.cli.completing import completes_paths, completion
from pva.cli.credit import credit
from pva.cli.data_check import check_data
from pva.cli.decisions import compare, stock
from pva.cli.demo_chain import demo
from pva.cli.donating import donor
from pva.cli.exploring import explore
from pva.cli.export import export
from pva.cli.forms import form
from pva.cli.guard import GuardedGroup
from pva.cli.monitoring import monitor
from pva.cli.runs import run
from pva.cli.scenarios import matrix, show
from pva.cli.schemas import schema
from pva.cli.sensing import sensitivity
from pva.cli.sheets import sheets
from pva.cli.starting import new
from pva.cli.studies import estimate, report
from pva.cli.what_changed import what_changed

CAUTION = (
    "Answers hold under the assumptions listed in each report. They are no permit, no approval "
    "and no legal advice: handling, collecting and releasing protected animals needs permits, "
    "and local codes and licensed practice decide."
)


@click.group(cls=GuardedGroup, epilog=CAUTION,
             context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="pva", prog_name="pva")
def main() -> None:
    """Freshwater-mussel restoration, from field records to how many animals to stock.

    STUDY is a folder that holds study.yaml, or that file. SCENARIO is a YAML file. Begin with
    `pva demo`, which runs the whole chain on an invented study.
    """


for command in (demo, new, check, estimate, show, matrix, run, stock, compare, sensitivity, explore,
                donor, monitor, check_data, what_changed, credit, report, export, sheets, form,
                schema, completion):
    main.add_command(completes_paths(command))

__all__ = ["main"]
