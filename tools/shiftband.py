#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""shiftband from Python: the shared library through ctypes, with nothing but the standard library.

    import shiftband
    cart = shiftband.load("scenarios/tray-cart.yaml", {"controller.dwell": "2 s"})
    run = cart.run(trace=True)
    print(run["verdicts"], run.trace["motor_speed_rpm"][-1])
    print(cart.map()["share_of_plane"], cart.tune()["pairs"][0], cart.prove()["statements"])

What the functions give are the objects of `shiftband run --json` and so on, as dictionaries. Columns are arrays of numpy where
it is installed, else lists; run.frame() is a data frame where pandas is. An empty field is nan.

The library is looked for in SHIFTBAND_LIBRARY, beside this file's repository or installation, and where the system has it.
"""
import ctypes
import ctypes.util
import glob
import json
import os

try:
    import numpy
except ImportError:
    numpy = None

__all__ = ["Error", "Run", "Scenario", "load", "tune", "version"]


class Error(Exception):
    """What the library refuses, in its own words; `status` is the number of enum sb_status."""

    def __init__(self, status, text):
        super().__init__(text)
        self.status = status


class _Err(ctypes.Structure):
    _fields_ = [("status", ctypes.c_int), ("text", ctypes.c_char * 1024)]


_texts = ctypes.POINTER(ctypes.c_char_p)
_text_out = ctypes.POINTER(ctypes.c_void_p)
_SIGNATURES = {
    "sb_handle_load": [ctypes.c_char_p, _texts, ctypes.c_size_t, ctypes.POINTER(ctypes.c_void_p), ctypes.POINTER(_Err)],
    "sb_handle_check": [ctypes.c_void_p, _text_out, ctypes.POINTER(_Err)],
    "sb_handle_prove": [ctypes.c_void_p, _text_out, ctypes.POINTER(_Err)],
    "sb_handle_run": [ctypes.c_void_p, ctypes.c_char_p, _text_out, _text_out, ctypes.POINTER(_Err)],
    "sb_handle_map": [ctypes.c_void_p, ctypes.c_char_p, _text_out, _text_out, ctypes.POINTER(_Err)],
    "sb_handle_tune": [ctypes.POINTER(ctypes.c_void_p), ctypes.c_size_t, ctypes.c_long, _text_out, ctypes.POINTER(_Err)],
}


def _candidates():
    here = os.path.dirname(os.path.abspath(__file__))
    if "SHIFTBAND_LIBRARY" in os.environ:
        yield os.environ["SHIFTBAND_LIBRARY"]
        return
    yield os.path.join(here, "..", "build", "libshiftband.so")
    yield from sorted(glob.glob(os.path.join(here, "..", "..", "..", "lib*", "libshiftband.so")))
    yield from sorted(glob.glob(os.path.join(here, "..", "..", "..", "lib", "*", "libshiftband.so")))
    yield ctypes.util.find_library("shiftband") or "libshiftband.so"


def _open():
    for path in _candidates():
        try:
            library = ctypes.CDLL(path)
        except OSError:
            continue
        for name, arguments in _SIGNATURES.items():
            getattr(library, name).argtypes = arguments
        library.sb_handle_free.argtypes = [ctypes.c_void_p]
        library.sb_handle_free.restype = None
        library.sb_handle_release.argtypes = [ctypes.c_void_p]
        library.sb_handle_release.restype = None
        library.sb_version.restype = ctypes.c_char_p
        library.sb_scenario_allow_outside.argtypes = [ctypes.c_bool]
        library.sb_scenario_allow_outside.restype = None
        return library
    raise ImportError("no libshiftband.so found; build it with `make`, or set SHIFTBAND_LIBRARY")


_library = _open()


def version():
    """The version of the library, as "0.1.0"."""
    return _library.sb_version().decode()


def _call(name, *arguments):
    err = _Err()
    status = getattr(_library, name)(*arguments, ctypes.byref(err))
    if status != 0:
        raise Error(status, err.text.decode(errors="replace"))


def _take(text):
    """The text that the library made, which is released."""
    if not text.value:
        return None
    try:
        return ctypes.string_at(text.value).decode()
    finally:
        _library.sb_handle_release(text)


def _column(texts):
    try:
        values = [float(text) if text else float("nan") for text in texts]
    except ValueError:
        return list(texts)
    return numpy.array(values) if numpy is not None else values


def _columns(csv):
    """Columns by name of a CSV whose fields hold no commas."""
    lines = csv.splitlines()
    rows = [line.split(",") for line in lines[1:]]
    return {name: _column([row[k] for row in rows]) for k, name in enumerate(lines[0].split(","))}


class Run(dict):
    """The object of `shiftband run --json`; `trace` holds the columns by name, or None."""

    def __init__(self, members, trace):
        super().__init__(members)
        self.trace = trace

    def frame(self):
        """The trace as a data frame; needs pandas."""
        import pandas

        return pandas.DataFrame(self.trace)


class Scenario:
    """A scenario that was read. Make one with load()."""

    def __init__(self, path, sets=None):
        self.path = os.fspath(path)
        self.sets = dict(sets or {})
        self._handle = ctypes.c_void_p()
        texts = [f"{key}={value}".encode() for key, value in self.sets.items()]
        _call("sb_handle_load", os.fsencode(path), (ctypes.c_char_p * (len(texts) + 1))(*texts), len(texts),
              ctypes.byref(self._handle))

    def __del__(self):
        if getattr(self, "_handle", None):
            _library.sb_handle_free(self._handle)

    def set(self, sets=None, **values):
        """Another scenario with more keys set: set({"controller.dwell": "2 s"}), or set(controller__dwell="2 s")."""
        more = {key.replace("__", "."): value for key, value in values.items()}
        return Scenario(self.path, {**self.sets, **(sets or {}), **more})

    def _json(self, name, *arguments):
        text = ctypes.c_void_p()
        _call(name, self._handle, *arguments, ctypes.byref(text))
        return json.loads(_take(text))

    def check(self):
        """What follows without simulating."""
        return self._json("sb_handle_check")

    def prove(self):
        """What holds for every load within bounds."""
        return self._json("sb_handle_prove")

    def run(self, gear=None, trace=False):
        """Simulates, with the controller or with one gear locked by its name."""
        report, rows = ctypes.c_void_p(), ctypes.c_void_p()
        _call("sb_handle_run", self._handle, gear.encode() if gear else None, ctypes.byref(report),
              ctypes.byref(rows) if trace else None)
        return Run(json.loads(_take(report)), _columns(_take(rows)) if trace else None)

    def map(self, pair=None):
        """The exact map of a pair of gears; its member "cells" holds columns, a rectangle a row."""
        report, cells = ctypes.c_void_p(), ctypes.c_void_p()
        _call("sb_handle_map", self._handle, str(pair).encode() if pair else None, ctypes.byref(report), ctypes.byref(cells))
        return {**json.loads(_take(report)), "cells": _columns(_take(cells))}

    def tune(self, samples=-1):
        """Thresholds and dwell for this scenario and its tolerances."""
        return tune([self], samples)


def allow_outside(is_allowed=True):
    """Lets scenarios that are read from now on read tables outside their folders, too; only for scenarios that you trust."""
    _library.sb_scenario_allow_outside(is_allowed)


def load(path, sets=None):
    """Reads a scenario file; sets are {"controller.dwell": "2 s"}. Raises Error with all faults of the file."""
    return Scenario(path, sets)


def tune(scenarios, samples=-1):
    """Thresholds and dwell for all of several scenarios, with so many samples of their tolerances (-1: the usual number)."""
    if any(scenario.sets != scenarios[0].sets for scenario in scenarios):
        raise ValueError("all scenarios must be loaded with the same sets")
    handles = (ctypes.c_void_p * len(scenarios))(*[scenario._handle.value for scenario in scenarios])
    text = ctypes.c_void_p()
    _call("sb_handle_tune", handles, len(scenarios), samples, ctypes.byref(text))
    return json.loads(_take(text))
