"""The list of commands; each is loaded when it is called, so that `--help` answers at once."""

from __future__ import annotations

import sys
from importlib import import_module

import click

from sitekit import __version__
from sitekit.cli import rim

# command -> (module, one line of help); in the order of a season
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("project", "Make a fictional reef in a folder and plan its season."),
    "new": ("project", "Make a project folder with a commented plan.toml."),
    "check": ("project", "Read every file of a plan and say what was understood."),
    "run": ("project", "Plan the season: all stages that are not up to date."),
    "layers": ("stages", "Stage 1: bring every file onto one grid."),
    "score": ("stages", "Stage 2: score every cell for every species."),
    "candidates": ("stages", "Stage 3: find patches that pass and what they hold."),
    "sensitivity": ("stages", "Stage 4: see whether the ranking of candidates holds."),
    "choose": ("stages", "Stage 5: choose sites."),
    "allocate": ("stages", "Stage 6: hand the stock out to the sites."),
    "place": ("stages", "Stage 7: place every unit."),
    "outline": ("stages", "Stage 8: draw work areas and check permits."),
    "fieldwork": ("fieldwork", "Lay the work into days: dives, gas, pull lists, materials."),
    "survey": ("survey", "Say what was planted, what lives, and when to look again."),
    "export": ("stages", "Last stage: write the files people read."),
    "scout": ("scout", "Write waypoints and a form per site to look at."),
    "explore": ("explore", "Write a page on which weights can be tried."),
    "explain": ("ask", "Say why a place has the score it has."),
    "record": ("record", "Append what happened: pins as set, units planted, what lives."),
    "audit": ("ask", "Re-read the written files and check every promise."),
}


class _Lazy(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"sitekit.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = getattr(module, cmd_name)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS:
            import difflib

            near = difflib.get_close_matches(args[0], COMMANDS, n=1)
            hint = f" Did you mean {near[0]!r}?" if near else ""
            ctx.fail(f"No command {args[0]!r}.{hint} `sitekit --help` lists them.")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.command(cls=_Lazy, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="sitekit")
def root() -> None:
    """From a reef team's files to planting sites, spaced colonies, maps, permit packet and dive sheets, offline.

    Start with `sitekit demo`. Planning aid only: not a permit, not for navigation; dive planning belongs to the dive
    supervisor.
    """


def main() -> None:
    """Run the command line and leave with its exit code."""
    sys.exit(rim.run(root))


if __name__ == "__main__":
    main()
