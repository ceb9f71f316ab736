"""`python -m api.typesetting FOLDER LAYOUT SIZE MEGABYTES`: sets one paper from the data in a folder; no network, no package."""

import resource
import shutil
import sys
from pathlib import Path

HERE = Path(__file__).parent


def set_paper(folder: Path, layout: str, size: str, most_mb: int) -> int:
    """Write paper.pdf into the folder; the exit code: 0, or 3 where typst is not installed."""
    resource.setrlimit(resource.RLIMIT_AS, (most_mb * 2**20, most_mb * 2**20))
    try:
        import typst
    except ImportError:
        return 3
    for name in ("papers.typ", f"{layout}.typ"):
        shutil.copyfile(HERE / name, folder / name)
    typst.compile(
        folder / f"{layout}.typ",
        output=folder / "paper.pdf",
        root=folder,
        font_paths=[HERE / "fonts"],
        ignore_system_fonts=True,
        package_path=folder / "none",
        package_cache_path=folder / "none",
        sys_inputs={"paper": size},
        pdf_standards="ua-1",
        timestamp=0,
    )
    return 0


if __name__ == "__main__":
    sys.exit(set_paper(Path(sys.argv[1]), sys.argv[2], sys.argv[3], int(sys.argv[4])))
