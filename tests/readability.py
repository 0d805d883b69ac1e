"""How easy a text of ours is to read, by the reading ease of Flesch."""

import re

_SENTENCE_END = re.compile(r"[.!?:](?:\s|$)")


def syllables(word):
    """About how many syllables an English word has: groups of vowels, silent endings left out."""
    word = word.lower().strip("'")
    number = len(re.findall(r"[aeiouy]+", word))
    if number > 1 and (re.search(r"[^l]e$", word) or re.search(r"[^td]ed$", word)):
        number -= 1
    return max(number, 1)


def sentences(text):
    """Return the sentences of a text as lists of words; what has no word is none."""
    each = (re.findall(r"[A-Za-z][A-Za-z']*", part) for part in _SENTENCE_END.split(text))
    return [words for words in each if words]


def reading_ease(text):
    """Return 206.835 - 1.015 words per sentence - 84.6 syllables per word.

    Flesch, R. 1948. A new readability yardstick. Journal of Applied Psychology 32:221-233 (from memory): 70
    to 80 is fairly easy, 60 to 70 plain English.
    """
    said = sentences(text)
    words = [word for sentence in said for word in sentence]
    per_word = sum(map(syllables, words)) / len(words)
    return 206.835 - 1.015 * len(words) / len(said) - 84.6 * per_word
