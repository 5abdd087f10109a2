#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Validates scenarios against the schema that `shiftband keys --json` prints.

usage: validate_schema.py SCHEMA FILE...    prints "accepted FILE" or "refused FILE: why" for each; a file that no YAML reader takes
is refused. A value stays the text that it is in the file but for plain numbers and true and false, as in YAML 1.2.
"""
import json
import re
import sys

import jsonschema
import yaml


class Loader(yaml.SafeLoader):
    """YAML 1.2: no words but true and false are values, no dates, no numbers of base 60; repeated keys are faults."""

    def construct_mapping(self, node, deep=False):
        keys = [self.construct_object(key, deep=True) for key, _ in node.value]
        if len(set(map(str, keys))) < len(keys):
            raise yaml.YAMLError("repeated key")
        return super().construct_mapping(node, deep)


Loader.yaml_implicit_resolvers = {}
Loader.add_implicit_resolver("tag:yaml.org,2002:bool", re.compile("^(?:true|false)$"), list("tf"))
Loader.add_implicit_resolver("tag:yaml.org,2002:int", re.compile("^[-+]?[0-9]+$"), list("-+0123456789"))
Loader.add_implicit_resolver(
    "tag:yaml.org,2002:float", re.compile(r"^[-+]?(?:\.[0-9]+|[0-9]+\.[0-9]*)(?:[eE][-+]?[0-9]+)?$"), list("-+.0123456789"))
Loader.add_implicit_resolver("tag:yaml.org,2002:null", re.compile("^(?:~|null|)$"), ["~", "n", ""])


def fault_of(validator, path):
    try:
        with open(path, encoding="utf-8") as file:
            scenario = yaml.load(file, Loader)
    except (yaml.YAMLError, UnicodeDecodeError, ValueError, RecursionError) as error:
        return str(error).replace("\n", " ")
    error = jsonschema.exceptions.best_match(validator.iter_errors(scenario))
    return None if error is None else "%s: %s" % (".".join(map(str, error.absolute_path)), error.message[:160])


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        schema = json.load(file)
    jsonschema.Draft7Validator.check_schema(schema)
    validator = jsonschema.Draft7Validator(schema)
    for path in sys.argv[2:]:
        fault = fault_of(validator, path)
        print("accepted " + path if fault is None else "refused %s: %s" % (path, fault))


main()
