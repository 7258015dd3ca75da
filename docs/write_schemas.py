"""Write the schema of every kind of definition file into docs/schema."""

import json
from pathlib import Path

from firedeck.files.definition_kinds import KINDS, schema_for

FOLDER = Path(__file__).parent / "schema"

if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for kind in KINDS:
        text = json.dumps(schema_for(kind), indent=2, ensure_ascii=False)
        (FOLDER / f"{kind}.json").write_text(f"{text}\n", encoding="utf-8")
