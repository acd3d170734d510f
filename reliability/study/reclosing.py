"""Tables whose rows belong to reclosing devices: does each row name the section of one?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.schema.devices import BY_NAME
from reliability.schema.nearest import Names
from reliability.schema.problems import Problems
from reliability.study.cells import text_column
from reliability.study.headers import TextTable

_RECLOSING = " or ".join(d.label.casefold() for d in BY_NAME.values() if d.recloses)


def on_reclosing_devices(table: TextTable, sections: pd.DataFrame, problems: Problems) -> np.ndarray:
    """Where a record names a reclosing device; others are reported."""
    device = dict(zip(sections["section_id"].tolist(), sections["device"].tolist(), strict=True))
    texts = text_column(table, "section_id")
    reclosing = {section for section, name in device.items() if name in BY_NAME and BY_NAME[name].recloses}
    names = Names(device)
    unknown = [i for i, text in enumerate(texts) if text and text not in device]
    problems.each(unknown, lambda i: table.problem(
        i, "section_id", texts[i], "no section has this section_id",
        names.suggest(texts[i], "name the section at whose source end the device is")))
    other = [i for i, text in enumerate(texts) if text in device and text not in reclosing]
    problems.each(other, lambda i: table.problem(
        i, "section_id", texts[i], f"the device here ({device[texts[i]] or 'none'}) does not reclose",
        f"name a section with a {_RECLOSING}, or remove the row"))
    return np.array([text in reclosing for text in texts], bool)
