"""The tables as CSV and Parquet, with a page that says what each column holds; answers as JSON; and
on Spark."""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from assistant.named_file import refuse_special
from assistant.record.disk import reason
from assistant.record.events import RecordError
from assistant.review import Answers, Review
from assistant.review.columns import COLUMNS
from assistant.review.index import quoted
from assistant.review.wording import Row
from assistant.sentences import sentences

PAGE = "COLUMNS.md"


def export(review: Review, folder: Path, kind: str) -> list[Path]:
    """Write every table into `folder`, made if missing, as "csv" or "parquet"; gives the files.

    Numbers, not lugcall's rounding of them; times in UTC. In CSV an empty cell is a value that is
    not there or an empty text, and texts are as `harmless` has them.

    Raises:
        RecordError: the folder cannot be written.
    """
    how = "HEADER, DELIMITER ','" if kind == "csv" else "FORMAT parquet, COMPRESSION zstd"
    files = [folder / f"{table}.{kind}" for table in COLUMNS]
    page = folder / PAGE
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for file in (*files, page):
            refuse_special(file)
        for table, file in zip(COLUMNS, files, strict=True):
            columns = ", ".join(_column(*column, kind) for column in COLUMNS[table].items())
            review.run(f"COPY (SELECT {columns} FROM {table}) TO {quoted(file)} ({how})")
        page.write_text(columns_page(), encoding="utf-8")
    except OSError as error:
        raise RecordError(f"{folder} cannot be written: {reason(error)[0]}.") from error
    return [*files, page]


_CONTROL = r"[\x00-\x1F\x7F-\x9F]"
_FORMULA = r"^\s*[=+@-]"


def harmless(text: str) -> str:
    """A text for a cell of CSV, which a spreadsheet must not take for a formula: one that begins
    with = + - or @ gets a "'" before it, and control characters become spaces."""
    plain = re.sub(_CONTROL, " ", text)
    return f"'{plain}" if re.match(_FORMULA, plain) else plain


def json_lines(rows: Iterable[Row]) -> Iterator[str]:
    """One JSON object a line; times in UTC as RFC 3339 has them."""
    for row in rows:
        yield json.dumps(row, ensure_ascii=False, default=_spelled)


def _spelled(value: object) -> str:
    return f"{value:%Y-%m-%dT%H:%M:%S}Z" if isinstance(value, datetime) else str(value)


def _column(name: str, column: str, kind: str) -> str:
    """A column as it is written; in CSV a text as `harmless` has it, worked out by the engine."""
    if kind != "csv" or column != "text":
        return f'"{name}"'
    plain = f"regexp_replace(\"{name}\", '{_CONTROL}', ' ', 'g')"
    mark = f"CASE WHEN regexp_matches({plain}, '{_FORMULA}') THEN chr(39) ELSE '' END"
    return f'{mark} || {plain} AS "{name}"'


def columns_page() -> str:
    words = sentences("columns")
    lines = [f"# {words.say('page.title')}", "", words.say("page.units"), "", words.say("page.csv")]
    from assistant.review.questions import WORK_ORDER

    for table, columns in {**COLUMNS, "work_orders": WORK_ORDER}.items():
        row = words.say("page.row", row=words.say(f"{table}.row"))
        lines += ["", f"## {table}", "", row, ""]
        lines += [words.say("page.head"), "| --- | --- | --- |"]
        for column, kind in columns.items():
            what = words.say(f"{table}.{column}").replace("|", "/")
            lines.append(f"| `{column}` | {kind} | {what} |")
    return "\n".join(lines) + "\n"


class SparkAnswers(Answers):
    """The same tables on a Spark session, for more records than one machine holds."""

    engine = "pyspark"

    def __init__(self, session: Any, review: Review) -> None:
        super().__init__(review.told, review.home, review.looked)
        self._session = session

    def run(self, sql: str) -> list[dict[str, Any]]:
        return [row.asDict() for row in self._session.sql(sql).collect()]


@contextmanager
def on_spark(review: Review, session: Any = None) -> Iterator[SparkAnswers]:
    """A review's tables on Spark, as Parquet in a folder that goes when it is done.

    `session` is a pyspark SparkSession; a small local one if not given.

    Raises:
        RecordError: Spark is not installed.
    """
    with tempfile.TemporaryDirectory(prefix="lugcall-spark-") as name:
        spark = session or _local_session()
        try:
            export(review, Path(name), "parquet")
            for table in COLUMNS:
                frame = spark.read.parquet(str(Path(name, f"{table}.parquet")))
                frame.createOrReplaceTempView(table)
            yield SparkAnswers(spark, review)
        finally:
            if session is None:
                spark.stop()


def _local_session() -> Any:
    try:
        import ibis.backends.pyspark  # noqa: F401  # needs more than Spark itself
        from pyspark.sql import SparkSession
    except ImportError:
        raise RecordError("Spark is not installed: pip install 'lugcall[spark]'.") from None
    settings = {
        "spark.ui.enabled": "false",
        "spark.ui.showConsoleProgress": "false",
        "spark.sql.session.timeZone": "UTC",
        "spark.sql.shuffle.partitions": "1",
        "spark.sql.adaptive.enabled": "false",
        "spark.sql.parquet.inferTimestampNTZ.enabled": "true",
        # To compile each small question would take far longer than to answer it.
        "spark.sql.codegen.wholeStage": "false",
        "spark.sql.codegen.factoryMode": "NO_CODEGEN",
        "spark.driver.extraJavaOptions": "-XX:TieredStopAtLevel=1",
        "spark.log.level": "ERROR",
    }
    builder = SparkSession.builder.master("local[*]")
    for key, value in settings.items():
        builder = builder.config(key, value)
    try:
        return builder.getOrCreate()
    except Exception as error:  # no Java runtime, or none that fits
        why = str(error).splitlines()[0]
        raise RecordError(f"Spark does not start: {why} It needs a Java runtime.") from None
