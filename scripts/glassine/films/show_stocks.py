"""What was learned of film stocks, for a person: shown, frozen, or written as settings."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import yaml

from glassine.base.errors import GlassineError
from glassine.base.records.stocks import Stock, Stocks
from glassine.base.visible import visible
from glassine.films import library


def main(arguments: list[str]) -> int:
    """Print to stdout what is asked for; return the exit code: 1 where the library cannot be read,
    2 where no stock has the name."""
    parser = argparse.ArgumentParser(prog="scripts/film-stocks", description=__doc__)
    parser.add_argument("results", type=Path, help="the results folder")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--freeze", metavar="NAME", help="nothing more is learned of this stock")
    what.add_argument("--learn", metavar="NAME", help="this stock learns again")
    what.add_argument("--settings", action="store_true", help="as `tone.film_stocks` of a config")
    options = parser.parse_args(arguments)
    name = options.freeze or options.learn
    try:
        if name and not library.freeze(options.results, name, bool(options.freeze)):
            print(f"No film stock is called {visible(name)} there.", file=sys.stderr)
            return 2
        stocks = library.read(options.results)
    except GlassineError as problem:
        print("\n".join(finding.sentence() for finding in problem.findings), file=sys.stderr)
        return 1
    print(as_settings(stocks) if options.settings else "\n".join(map(line, stocks.stocks)))
    return 0


def line(stock: Stock) -> str:
    """Return a stock in a line."""
    middle = library.pooled(stock.name, stock.films)
    slopes = " ".join(f"{slope:.3f}" for slope in middle.slopes)
    frames = sum(film.frames for film in stock.films)
    frozen = ", frozen" if stock.frozen else ""
    return visible(
        f"{stock.name}: {stock.process}, {stock.encoding.name}: slopes {slopes}, a further film "
        f"within {10**middle.contrast - 1:.0%}; {middle.films} films of {frames} frames{frozen}"
    )


def as_settings(stocks: Stocks) -> str:
    """Return YAML for a config: `tone.film_stocks` with the slopes of each stock. Of a stock that
    several encodings or processes show the one with the most films is taken."""
    chosen: dict[str, Stock] = {}
    for stock in stocks.stocks:
        if stock.name not in chosen or len(stock.films) > len(chosen[stock.name].films):
            chosen[stock.name] = stock
    values = {
        name: {"slopes": [round(float(slope), 4) for slope in _slopes(stock)]}
        for name, stock in chosen.items()
    }
    made = {"tone": {"film_stocks": values}}
    return yaml.safe_dump(made, sort_keys=True, allow_unicode=True)


def _slopes(stock: Stock) -> tuple[float, ...]:
    """Return slopes red, green, blue: the one of a grey stock for each."""
    slopes = library.pooled(stock.name, stock.films).slopes
    return slopes if len(slopes) == 3 else slopes * 3


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
