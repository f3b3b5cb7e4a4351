"""Count what tells whether a house is lived in: `python tests/tools/count_house.py [FOLDER]`.

Files, their size, imports, comments, names that begin with a verb, class names used twice. Lists of words are
judgement: a verb here is what reads as one in a function's name.
"""

import ast
import collections
import io
import statistics
import sys
import tokenize
from pathlib import Path

VERBS = """
    add adjust answer apply are ask assemble assert begin blur bound buffer build call can cancel
    center chain change check choose claim classify clean climb clip close collect compute convert
    copy count cover create cut decode densify describe detect dissolve divide do drain draw drop
    encode end estimate expand explain export extend fill filter find fit flatten fold follow forget
    format free gather get give group guess handle has hold inline index insert install integrate
    interpolate intersect is iterate join judge keep label limit link list load locate look lower
    main make map mark match measure merge meets move multiply name normalise normalize note number
    offer open optimize order pack parse pass pick place plan point prepare preview project pull put
    query raise rank rate read rebuild recover refine refuse release remark remove rename renumber
    repair replace report reproject reset resolve restore return round run sample save scale search
    select send separate set settle shade shift shorten show shrink simplify size skip snap solve
    sort span spill splice split stack start state step stop strip subtract sum sweep swap take tell
    test tidy time touch touches trace transform translate trim try turn undo unpack unproject
    unwrap update use validate verify wait walk warn was widen word work write yield zip looks
    starts
"""


def functions(tree):
    return [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)]


def count(root):
    """Figures of one package, by what they are called."""
    files = sorted(root.rglob("*.py"))
    texts = {path: path.read_text(encoding="utf-8") for path in files}
    trees = {path: ast.parse(text) for path, text in texts.items()}
    sizes = [len(text.splitlines()) for text in texts.values()]
    names = [f.name for tree in trees.values() for f in functions(tree) if not f.name.startswith("__")]
    heads = comments = 0
    classes = collections.defaultdict(set)
    for path, tree in trees.items():
        for node in ast.walk(tree):
            listed = isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "__all__"
            if isinstance(node, ast.Import | ast.ImportFrom) or listed:
                heads += node.end_lineno - node.lineno + 1
            if isinstance(node, ast.ClassDef):
                classes[node.name.lstrip("_")].add(path)
        lines = {
            token.start[0]
            for token in tokenize.generate_tokens(io.StringIO(texts[path]).readline)
            if token.type == tokenize.COMMENT
        }
        comments += len(lines)
    total = sum(sizes)
    verbs = set(VERBS.split())
    return {
        "files": len(files),
        "folders": len({path.parent for path in files}),
        "lines": total,
        "lines of a file, median": statistics.median(sizes),
        "imports and __all__, % of lines": 100 * heads / total,
        "comment lines, %": 100 * comments / total,
        "functions": len(names),
        "functions that begin with a verb, %": 100
        * sum(name.lstrip("_").split("_")[0] in verbs for name in names)
        / len(names),
        "class names in more than one file": sorted(k for k, v in classes.items() if len(v) > 1),
    }


if __name__ == "__main__":
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parents[2] / "scout"
    for what, value in count(folder).items():
        print(f"{what}: {value:.1f}" if isinstance(value, float) else f"{what}: {value}")
