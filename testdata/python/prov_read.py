"""Reads PROV-JSON from standard input with an independent implementation
(python3-prov) and prints, as JSON, how many records of each kind it found and
the document as that implementation writes it again."""

import collections
import json
import sys

import prov.model

doc = prov.model.ProvDocument.deserialize(content=sys.stdin.read(), format="json")
kinds = collections.Counter(prov.constants.PROV_N_MAP[r.get_type()] for r in doc.get_records())
json.dump({"kinds": kinds, "again": json.loads(doc.serialize(format="json"))}, sys.stdout)
