"""Shells complete commands, options, words and files, by the script that the table of commands makes."""

import os
import subprocess
import unittest

from support import ClientTest

BASH = r"""
source /dev/fd/3
COMP_WORDS=("$@") COMP_CWORD=$(($# - 1))
_oddloaf
printf '%s\n' "${COMPREPLY[@]}"
"""
# what of zsh's completion is the shell's own is said instead of done
ZSH = r"""
compdef() { :; }
compset() { words[CURRENT]=${words[CURRENT]#*=}; }
_files() { print -l -- $words[CURRENT]*(N); }
_describe() { print -l -- ${(M)${(@)${(P)@[-1]}%%:*}:#$words[CURRENT]*}; }
source /dev/fd/3
words=("$@") CURRENT=$#
_oddloaf || true # false: nothing to offer
"""


class Completion(ClientTest):
    serves = False

    def complete(self, shell, *words):
        script = self.ok("help", "--completion", shell)
        path = os.path.join(self.folder, "script")
        with open(path, "w", encoding="utf-8") as f:
            f.write(script)
        start = {"bash": ["bash", "--norc", "-c", BASH, "bash"], "zsh": ["zsh", "-f", "-c", ZSH, "zsh"]}[shell]
        start[-2] = start[-2].replace("/dev/fd/3", path)
        done = subprocess.run([*start, "oddloaf", *words], capture_output=True, text=True, check=True,
                              cwd=self.folder, env={**self.env, "LC_ALL": "C.UTF-8"})
        self.assertEqual(done.stderr, "", words)
        return [line for line in done.stdout.split("\n") if line]

    def each(self, expected, *words):
        for shell in ("bash", "zsh"):
            with self.subTest(shell=shell, words=words):
                self.assertEqual(sorted(self.complete(shell, *words)), sorted(expected))

    def test_commands(self):
        _, documents = self.json("help")
        names = [c["command"] for c in documents[0]["commands"]]
        self.each(names + ["--" + o["option"] for o in documents[0]["options"]], "")
        self.each([n for n in names if n.startswith("re")], "re")
        self.each(["settle"], "--json", "--socket", "/s", "set")

    def test_options_of_each_command(self):
        _, documents = self.json("help")
        globals_ = ["--" + o["option"] for o in documents[0]["options"]]
        for command in documents[0]["commands"]:
            own = ["--" + o["option"] for o in command["options"]]
            self.assertEqual(self.complete("bash", command["command"], "--"), own + globals_)
        self.each(["--confirmed-by"], "settle", "C1", "--c")

    def test_words_of_options(self):
        self.each(["assay", "inspection", "reproduction", "judgement"], "settle", "C1", "--confirmed-by", "")
        self.each(["judgement"], "settle", "C1", "packed-hot", "--confirmed-by", "j")
        self.each(["yes", "no"], "log", "--wet-inside", "")
        self.each(["mold"], "log", "--symptom", "m")
        self.each([], "settle", "C1", "--note", "")
        # bash takes the word apart at the sign, zsh does not
        self.assertEqual(self.complete("bash", "cases", "--state", "=", "s"), ["settled"])
        self.assertEqual(self.complete("bash", "cases", "--state", "="), ["open", "settled", "all"])
        self.assertEqual(self.complete("zsh", "cases", "--state=s"), ["settled"])
        self.assertEqual(self.complete("bash", "--socket", "=", "/s", "set"), ["settle"])

    def test_words_of_commands_and_files(self):
        for name in ("lots 47.csv", "lots.json"):
            open(os.path.join(self.folder, name), "w", encoding="utf-8").close()
        self.each(["lots", "lots 47.csv", "lots.json"], "load", "lot")
        self.each(["lots 47.csv", "lots.json"], "load", "--refused", "lot")

    def test_a_line_of_ones_own_file_will_do(self):
        program = os.path.dirname(os.environ["ODDLOAF"])
        done = subprocess.run(["bash", "--norc", "-c", "source <(oddloaf help --completion bash); complete -p oddloaf"],
                              capture_output=True, text=True, check=True,
                              env={**self.env, "PATH": program + ":" + self.env["PATH"]})
        self.assertEqual(done.stdout, "complete -F _oddloaf oddloaf\n")

    def test_such_a_word_is_the_only_one_taken(self):
        for words in (["cases", "--state", "opne"], ["load", "lost", "f"],
                      ["help", "--completion", "fish"]):
            code, _, err = self.run_client(*words)
            self.assertEqual(code, 2, words)
            self.assertIn(": must be one of: ", err)


if __name__ == "__main__":
    unittest.main()
