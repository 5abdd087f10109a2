#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Validates what commands write against the schemas that `shiftband keys --json COMMAND` prints.

usage: validate_output.py FOLDER    with COMMAND.schema and COMMAND-*.json in it, of one object a line; prints "accepted FILE: COUNT"
or "refused FILE: why", and at last "never seen: RECORD: MEMBER, ..." with what is described and in none of the files.
"""
import glob
import json
import os
import sys

import jsonschema


def walk(value, record, definitions, seen):
    """Notes (record, member) of all that stands in a value."""
    if isinstance(value, list):
        for item in value:
            walk(item, record, definitions, seen)
    if not isinstance(value, dict) or record is None:
        return
    for name, below in value.items():
        seen.add((record, name))
        member = definitions[record]["properties"][name]
        reference = member.get("items", member.get("anyOf", [{}])[0]).get("$ref", "")
        walk(below, reference.rsplit("/", 1)[-1] or None, definitions, seen)


def root_of(value, schema):
    """The one of the schema's alternatives that the object is of."""
    for alternative in schema["anyOf"]:
        if jsonschema.Draft7Validator(dict(schema, anyOf=[alternative])).is_valid(value):
            return alternative["$ref"].rsplit("/", 1)[-1]
    return None


def fault_of(path, schema, seen):
    validator = jsonschema.Draft7Validator(schema)
    with open(path, encoding="utf-8") as file:
        objects = [json.loads(line) for line in file]
    for value in objects:
        error = jsonschema.exceptions.best_match(validator.iter_errors(value))
        if error is not None:
            return "%s: %s" % (".".join(map(str, error.absolute_path)), error.message[:300])
        walk(value, root_of(value, schema), schema["definitions"], seen)
    return None if objects else "nothing in it"


def main():
    described, seen = set(), set()
    for schema_path in sorted(glob.glob(os.path.join(sys.argv[1], "*.schema"))):
        with open(schema_path, encoding="utf-8") as file:
            schema = json.load(file)
        jsonschema.Draft7Validator.check_schema(schema)
        described |= {(name, member) for name, record in schema["definitions"].items() for member in record["properties"]}
        for path in sorted(glob.glob(schema_path[: -len(".schema")] + "-*.json")):
            fault = fault_of(path, schema, seen)
            print("accepted " + path if fault is None else "refused %s: %s" % (path, fault))
    missed = sorted(described - seen)
    for name in sorted({name for name, member in missed}):
        print("never seen: %s: %s" % (name, ", ".join(member for of, member in missed if of == name)))


main()
