# SPDX-License-Identifier: GPL-3.0-or-later
"""What the picture tools in Python share: words of the scenario, styles of verdicts, and drawing by gnuplot, whole or not at all."""
import math
import os
import subprocess
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
RPM_PER_RAD_S = 9.549296585513721


class Failed(Exception):
    """What went wrong, with the exit code that it means."""

    def __init__(self, code, text):
        super().__init__(text)
        self.code = code


def add_options(parser):
    """The options of every picture."""
    parser.add_argument("-o", "--output", metavar="OUT.png|OUT.svg", required=True,
                        help="picture to write, by its ending; it appears whole or not at all")
    parser.add_argument("--scenario", metavar="FILE.yaml", help="title from the scenario")
    parser.add_argument("--title", help="heading (default: as it is known)")
    parser.add_argument("--narrow", action="store_true",
                        help="for a telephone or a column of text: 600 pixels wide and not 1200, in letters of the same size")


def ending_of(options):
    ending = os.path.splitext(options.output)[1]
    if ending not in (".png", ".svg"):
        raise Failed(2, f"{options.output}: expected a name ending in .png or .svg")
    return ending


def quoted(text):
    return "'" + str(text).replace("\n", " ").replace("'", "''") + "'"


def title_of(options, otherwise, more=""):
    """The title that was asked for, else the machine's name with what else is said, else another one."""
    if options.title or not options.scenario:
        return options.title or otherwise
    done = subprocess.run([os.path.join(HERE, "scenario-facts"), options.scenario], capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise Failed(done.returncode, done.stderr.strip())
    names = [line[6:] for line in done.stdout.splitlines() if line.startswith("title ")]
    return (names[0] if names else otherwise) + more


def styles():
    """Fill, ink and hatch by the names of verdicts and of shares that pass, in the order of keys."""
    text = subprocess.run([os.path.join(HERE, "verdict-styles")], capture_output=True, text=True, check=True).stdout
    parts = [line.split(" ", 3) for line in text.splitlines()]
    return {name: (fill, ink, int(hatch)) for fill, ink, hatch, name in parts}


def step_of(span, most):
    """A step of 1, 2 or 5 times a power of ten that gives at most so many figures at an axis."""
    step = 10.0 ** math.floor(math.log10(span / most))
    return next(step * factor for factor in (1, 2, 5, 10, 20) if span / (step * factor) <= most)


def terminal(ending, width, height):
    kind, font = ("svg", "DejaVu Sans,Verdana,sans-serif,15") if ending == ".svg" else ("pngcairo", "DejaVu Sans,12")
    return f"set encoding utf8\nset terminal {kind} size {width},{height} font '{font}' background rgb 'white'"


def heading(ending, title, width, height):
    size = 20 if ending == ".svg" else 16
    return (f"set label {quoted(title)} at screen {12 / width:.6f}, screen {1 - 26 / height:.6f} left noenhanced "
            f"font ',{size}' tc rgb '#202020' front")


def draw(options, title, script):
    """Draws what the script says, which sets its terminal and draws its heading, and puts it in place."""
    ending = ending_of(options)
    part = f"{options.output}.part.{os.getpid()}{ending}"
    try:
        done = subprocess.run(["gnuplot"], input=f"set output {quoted(os.path.abspath(part))}\n{script}", capture_output=True,
                              text=True, encoding="utf-8", check=False)
        if done.returncode != 0 or not os.path.exists(part) or os.path.getsize(part) == 0:
            raise Failed(4, f"can't draw {options.output}: {done.stderr.strip()}")
        subprocess.run([os.path.join(HERE, "title-svg"), part, title], check=True)
        os.replace(part, options.output)
    except OSError as fault:
        is_gnuplot = isinstance(fault, FileNotFoundError) and fault.filename == "gnuplot"
        raise Failed(4, "gnuplot is not here (Debian: apt-get install gnuplot-nox)" if is_gnuplot
                     else f"can't write {options.output}: {fault.strerror}") from fault
    finally:
        if os.path.exists(part):
            os.unlink(part)


def run(name, main):
    """Runs a tool; what went wrong is said in one line."""
    try:
        main()
    except Failed as fault:
        print(f"{name}: {fault}", file=sys.stderr)
        sys.exit(fault.code)
