"""Where a C++ source of this house can be mutated, and what is written there: text edits that keep every line where it was.

Goes by the house's own layout: an operator between two operands stands between blanks, a template's brackets do not."""
import dataclasses
import re

TOKEN = re.compile(r"""
    (?P<skip>\s+|//[^\n]*|/\*.*?\*/|^\#[^\n]*)
  | (?P<string>(?:u8|[uUL])?R"(?P<mark>[^(\s]*)\(.*?\)(?P=mark)"|(?:u8|[uUL])?"(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*')
  | (?P<number>(?:0[xX][0-9a-fA-F']+|(?:\d[\d']*\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)[uUlLfFzZ]*)
  | (?P<word>[A-Za-z_]\w*)
  | (?P<mark_>->\*|<=>|<<=|>>=|\.\.\.|->|::|<<|>>|<=|>=|==|!=|&&|\|\||\+\+|--|[-+*/%&|^]=|[-+*/%<>=!~&|^?:;,.(){}\[\]])
""", re.X | re.S | re.M)
OPERATORS = {"<": ("at_most", "at_least"), "<=": ("less", "greater"), ">": ("at_least", "at_most"), ">=": ("greater", "less"),
             "==": ("unequal",), "!=": ("equal",), "+": ("minus",), "-": ("plus",), "*": ("over",), "/": ("times",)}
SIGN = {"less": "<", "at_most": "<=", "greater": ">", "at_least": ">=", "equal": "==", "unequal": "!=", "plus": "+", "minus": "-",
        "times": "*", "over": "/"}
ASSIGNED = {"+=": "-=", "-=": "+=", "*=": "/=", "/=": "*="}
BEFORE_A_VALUE = {"(", "[", "{", ",", ";", "=", "?", ":", "return", "&&", "||", "<", ">", "<=", ">=", "==", "!=", "+", "-", "*", "/", "%",
                  "+=", "-=", "*=", "/=", "!", "}", "else", "<<"}
LEFT_OF_JUNCTION = {"(", "[", "{", ",", ";", "=", "?", ":", "return", "+=", "-="}
RIGHT_OF_JUNCTION = {"?", ":", ";", ",", "}"}


@dataclasses.dataclass
class Token:
    kind: str
    text: str
    at: int
    line: int
    in_code: bool = False
    fixed: bool = False        # in a declaration that the compiler reckons out
    match: int = -1            # a bracket's partner


@dataclasses.dataclass
class Site:
    file: str
    line: int
    last_line: int
    kind: str                  # comparison, arithmetic, junction, negation, constant, extreme, statement
    what: str
    edits: list                # (offset, length, text with {n} for the mutant's number)

    @property
    def name(self):
        return f"{self.file}:{self.line} {self.what}"


def tokens_of(text):
    out, line, last = [], 1, 0
    for m in TOKEN.finditer(text):
        line += text.count("\n", last, m.start())
        last = m.start()
        if m.lastgroup != "skip" and m["skip"] is None:
            kind = "string" if m["string"] else "number" if m["number"] else "word" if m["word"] else "mark"
            out.append(Token(kind, m.group(0), m.start(), line))
    pair_brackets(out)
    return out


def pair_brackets(tokens):
    """Partners of brackets; whether a token stands in a function's body; whether its value is a constant expression."""
    stack = []
    code = []                  # for each open brace, whether inside it is code
    for i, token in enumerate(tokens):
        token.in_code = bool(code and code[-1])
        if token.text in "([{" and token.kind == "mark":
            stack.append(i)
            if token.text == "{":
                code.append(opens_code(tokens, i, token.in_code))
        elif token.text in ")]}" and token.kind == "mark" and stack:
            token.match = stack.pop()
            tokens[token.match].match = i
            if token.text == "}":
                code.pop()
    fixed = False
    depth = 0
    for token in tokens:
        if token.text in ("constexpr", "case", "static_assert", "template", "using"):
            fixed, depth = True, 0
        token.fixed = fixed
        if fixed:
            depth += (token.text in ("(", "[", "{")) - (token.text in (")", "]", "}"))
            if depth <= 0 and token.text in (";", "}", ":") or depth < 0:
                fixed = False


def opens_code(tokens, i, inside):
    """Whether the brace at i opens statements: a function's, a lambda's or a statement's body."""
    before = tokens[i - 1]
    if before.text in (")", "else", "do", "try", "const", "noexcept", "override", "mutable"):
        return True
    if inside and before.text in (";", "{", "}"):
        return True
    j = i - 1                  # a lambda's or function's return type: -> T {
    while j > 0 and (tokens[j].kind == "word" or tokens[j].text in ("::", "<", ">", "*", "&", ",")):
        j -= 1
    if tokens[j].text == "->" and tokens[j - 1].text in (")", "const"):
        return True
    k = i - 1
    while k >= 0 and tokens[k].text not in (";", "{", "}", ")"):
        if tokens[k].text in ("namespace", "struct", "class", "enum", "union"):
            return False
        k -= 1
    return inside              # an initialiser


def blanks_around(text, token):
    end = token.at + len(token.text)
    return text[token.at - 1] in " \n" and text[end:end + 1] in (" ", "\n")


def extent(tokens, i, step, stops):
    """Index of the last token of the operand on one side of tokens[i]."""
    j = i + step
    closing, opening = (")]}", "([{") if step < 0 else ("([{", ")]}")
    while 0 <= j < len(tokens):
        t = tokens[j]
        if t.kind == "mark" and t.text in closing:
            if t.match < 0:
                return None
            j = t.match
        elif t.text in stops or (t.kind == "mark" and t.text in opening):
            break
        j += step
    return j - step if abs(j - i) > 1 else None


class Finder:
    def __init__(self, file, text, choose):
        self.file, self.text, self.choose = file, text, choose
        self.tokens = tokens_of(text)
        self.lines = text.split("\n")
        self.sites = []

    def add(self, token, kind, what, edits, last_line=None):
        self.sites.append(Site(self.file, token.line, last_line or token.line, kind, what, edits))

    def end(self, token):
        return token.at + len(token.text)

    def find(self):
        for i, token in enumerate(self.tokens):
            if not token.in_code or token.fixed:
                continue
            before = self.tokens[i - 1].text
            if token.kind == "number" and before != "case":
                self.constant(token, token.text)
            elif token.kind == "word" and token.text in ("true", "false"):
                self.add(token, "constant", f"{token.text} negated", [(token.at, len(token.text), self.changed("nought", token.text))])
            elif token.text in ("min", "max") and before == "::" and self.tokens[i - 2].text == "std" and self.tokens[i + 1].text == "(" \
                    and self.tokens[i + 2].text != "{":
                std, other = self.tokens[i - 2], "max" if token.text == "min" else "min"
                now = "least" if token.text == "min" else "greatest"
                self.add(token, "extreme", f"std::{token.text} as std::{other}", [(std.at, self.end(token) - std.at, f"::mutant::{now}<{{n}}>")])
            elif token.text in OPERATORS and token.kind == "mark" and blanks_around(self.text, token) and before not in BEFORE_A_VALUE:
                op = self.choose(OPERATORS[token.text])
                kind = "arithmetic" if token.text in "+-*/" else "comparison"
                self.add(token, kind, f"{token.text} as {SIGN[op]}",
                         [(token.at, len(token.text), f"{token.text} ::mutant::Between<{{n}}, ::mutant::Operator::{op}>() {token.text}")])
            elif token.text in ASSIGNED and blanks_around(self.text, token):
                self.add(token, "arithmetic", f"{token.text} as {ASSIGNED[token.text]}",
                         [(token.at, len(token.text), f"{token.text} ::mutant::Assign<{{n}}>() {token.text}")])
            elif token.text in ("&&", "||") and blanks_around(self.text, token):
                self.junction(i, token)
            elif token.text == "!" and before in BEFORE_A_VALUE:
                self.add(token, "negation", "! left out", [(token.at, 1, "::mutant::Not<{n}>() ->* ")])
            elif token.text == "-" and before in BEFORE_A_VALUE and not blanks_around(self.text, token):
                self.add(token, "negation", "minus sign left out", [(token.at, 1, "::mutant::Negative<{n}>() ->* ")])
            if token.kind == "word" and before in (";", "{", "}", ")", "else") and self.lines[token.line - 1].lstrip().startswith(token.text):
                self.statement(i, token)
        self.named_constants()
        return self.sites

    def change(self, text):
        real = re.search(r"[.eE]|^k[A-Z]", text) and not text.startswith("0x")
        change = self.choose(("half_more", "one_more", "nought") if real else ("one_more", "one_less", "nought"))
        if change == "nought" and re.fullmatch(r"0(\.0*)?[uUzZ]*", text):
            change = "one_more"
        return change

    def constant(self, token, text):
        change = self.change(text)
        self.add(token, "constant", f"{text}: {change.replace('_', ' ')}", [(token.at, len(text), self.changed(change, text))])

    @staticmethod
    def changed(change, text):
        return f"::mutant::constant<{{n}}, ::mutant::Change::{change}>({text})"

    def named_constants(self):
        """A constant with a name is mutated wherever its file uses it."""
        names = re.findall(r"^(?:inline |static )?constexpr (?:double|int|std::size_t|float|unsigned|bool|auto) ([^;]*);", self.text, re.M)
        for name in [n for group in names for n in re.findall(r"(?:^|, )(k\w+) =", group)]:
            uses = [t for t, after in zip(self.tokens, self.tokens[1:]) if t.text == name and t.in_code and not t.fixed and after.text not in "([{"]
            if uses:
                change = self.change(name)
                self.add(uses[0], "constant", f"{name}: {change.replace('_', ' ')}",
                         [(t.at, len(name), self.changed(change, name)) for t in uses], max(t.line for t in uses))

    def junction(self, i, token):
        is_and = token.text == "&&"
        right = extent(self.tokens, i, 1, RIGHT_OF_JUNCTION | ({"&&", "||"} if is_and else {"||"}))
        left = extent(self.tokens, i, -1, LEFT_OF_JUNCTION | {"||"} if is_and else LEFT_OF_JUNCTION)
        if right is None or left is None:
            return
        first, last = self.tokens[left], self.tokens[right]
        after = self.tokens[i + 1]
        plain = "static_cast<bool>("
        if self.choose((True, False)):
            text = "true" if is_and else "false"
            edits = [(after.at, 0, f"::mutant::always<{{n}}>({plain}"), (self.end(last), 0, f"), {text})")]
            self.add(token, "junction", f"what follows {token.text} left out", edits, last.line)
        else:
            edits = [(first.at, 0, f"::mutant::junction<{{n}}, {'true' if is_and else 'false'}>({plain}"),
                     (token.at, 2, "), [&]() -> bool { return static_cast<bool>("), (self.end(last), 0, "); })")]
            self.add(token, "junction", f"{token.text} as {'||' if is_and else '&&'}", edits, last.line)
            self.sites[-1].line = first.line

    def statement(self, i, token):
        """A statement of one line that is a call or an assignment, left out."""
        line = self.lines[token.line - 1]
        code = re.sub(r"\s*//.*", "", line)
        plain = re.fullmatch(r"\s+(continue|break|[\w.\[\]>:-]+(\(.*\))?(\.\w+(\(.*\))?)*( [-+*/]?= .*)?);", code)
        if not plain or ".reserve(" in code or re.match(r"\s+(return|using|throw|delete|case|default)\b", code):
            return
        if not ("(" in code or "=" in code or plain[1] in ("continue", "break")):
            return
        start = token.at
        self.add(token, "statement", "statement left out",
                 [(start, 0, "{ if (::mutant::keep<{n}>()) "), (start + len(code.lstrip()), 0, " }")])


def sites_of(file, text, choose):
    return Finder(file, text, choose).find()


def with_mutants(text, numbered_sites):
    """The text with every mutant's switch in place; numbered_sites: (number, site) that share no line."""
    edits = [(at, length, new.replace("{n}", str(number))) for number, site in numbered_sites for at, length, new in site.edits]
    for at, length, new in sorted(edits, reverse=True):
        text = text[:at] + new + text[at + length:]
    return text
