"""`companion diary`: what is remembered of a pupil, what is set, and who has allowed what."""

from __future__ import annotations

import argparse

from companion.messages import _


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("pupil", nargs="?", metavar="PUPIL", help=_("a nickname; without one the pupils are listed"))
    parser.add_argument("--new", action="store_true", help=_("begin a page for this pupil"))
    parser.add_argument("--set", metavar="TUNE", action="append", default=[], help=_("set a tune for the week"))
    parser.add_argument("--days", type=int, default=7, metavar="N", help=_("for how many days it is set (7)"))
    parser.add_argument("--range", nargs=2, metavar=("LOW", "HIGH"),
                        help=_("the comfortable range, as note names like A3 D5"))
    parser.add_argument("--setting", metavar="NAME=VALUE", action="append", default=[],
                        help=_("a setting that lasts, such as rate=130, speech=off, minutes=8, keys=f9:go"))
    parser.add_argument("--settings", action="store_true", help=_("list the settings"))
    parser.add_argument("--consent", metavar="WHO", help=_("someone responsible allows sound to be kept"))
    parser.add_argument("--until", metavar="DATE", help=_("last day of the consent, as 2026-12-31"))
    parser.add_argument("--withdraw", action="store_true", help=_("end the consent and delete the sound"))
    parser.add_argument("--export", metavar="FILE.zip", help=_("everything of this pupil: JSON, MusicXML, sound"))
    parser.add_argument("--delete", action="store_true", help=_("delete this pupil for good"))
    parser.add_argument("--diary", metavar="FILE", help=_("another diary than the one in your data folder"))
    parser.add_argument("--json", action="store_true", help=_("print JSON for programs"))


def run(options: argparse.Namespace) -> int:
    import json

    from companion.diary.door import listing, page, told

    if options.pupil is None:
        found = listing(options.diary)
        print(json.dumps(found, ensure_ascii=False) if options.json else "\n".join(p["say"] for p in found) or
              "The diary has no pupils yet.")
        return 0
    lines = told(options)
    if options.json:
        print(json.dumps(page(options), ensure_ascii=False))
    else:
        print("\n".join(lines))
    return 0
