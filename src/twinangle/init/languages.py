"""Words of names in other languages, by the English word that stands for them here.

German, French, Spanish, Italian and Dutch; common practice, no source. What columns and pairs of
names tell needs none of them; they tell sides, conditions and segments apart from each other.
Accents are left out; a number may follow. Words that mean something else in English are left out
where names would be read wrong by them.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

SPELT = {
    # instruments, and what their columns hold
    "goniometer": "goniometre goniometro elektrogoniometer electrogoniometre electrogoniometro "
    "elettrogoniometro winkelmesser egm",
    "reference": "referenz referencia riferimento referentie",
    "sensor": "sensoren capteur capteurs sensores sensore sensori inertiel inertielle inercial "
    "inerziale traegheitssensor",
    "data": "daten messung messdaten donnees mesure mesures datos medida medidas dati misura "
    "gegevens meting",
    "angle": "winkel angulo angolo hoek",
    "degrees": "grad degre degres grado grados gradi graad graden",
    "flexion": "beugung flessione flexie",
    "acceleration": "beschleunigung beschl aceleracion acel accelerazione versnelling",
    "gyroscope": "drehrate drehgeschwindigkeit winkelgeschwindigkeit gyroskop giroscopio giro "
    "vitesse-angulaire velocidad-angular velocita-angolare hoeksnelheid",
    "magnetometer": "magnetfeld champ-magnetique campo-magnetico magneetveld",
    # joints and segments
    "knee": "knie genou rodilla ginocchio",
    "elbow": "ellenbogen ellbogen coude codo gomito elleboog",
    "thigh": "oberschenkel cuisse muslo coscia bovenbeen dijbeen",
    "shank": "unterschenkel schienbein jambe pierna gamba onderbeen scheenbeen",
    "upper arm": "oberarm bras brazo braccio bovenarm",
    "forearm": "unterarm avant-bras avantbras antebrazo avambraccio onderarm",
    # who and when
    "subject": "vp pat prob proband probandin patient patientin versuchsperson sujet "
    "patiente sujeto paciente participante soggetto paziente partecipante proefpersoon deelnemer",
    "session": "sitzung seance sesion sessione sessie",
    "day": "tag visite visita jour dia giorno dag",
    "trial": "versuch durchgang essai ensayo prova poging",
    # sides
    "left": "links linke linkes linker li gauche izquierda izquierdo izq izda sinistra sinistro sx",
    "right": "rechts rechte rechtes rechter re droite droit derecha derecho dcha destra destro dx "
    "rechterbeen",
    # conditions
    "indoor": "halle drinnen innen flur gang interieur dedans couloir interior dentro pasillo "
    "interno corridoio binnen",
    "outdoor": "draussen aussen weg strasse exterieur dehors exterior fuera calle esterno fuori "
    "strada buiten",
    "lab": "labor labo laboratoire laboratorio laboratorium",
    "treadmill": "laufband tapis cinta loopband",
    "walking": "gehen marche marcher marcha caminar cammino camminare lopen wandelen",
    "running": "laufen rennen courir correr corsa",
    "slow": "langsam lent lento langzaam",
    "fast": "schnell rapide rapido veloce snel",
    "stairs": "treppe escalier escaliers escalera escaleras",
    "ramp": "rampe rampa",
    "grass": "wiese herbe hierba erba",
    "before": "vorher avant antes prima",
    "after": "nachher apres despues dopo",
    # what else a file may hold
    "standing": "statisch stehen ruhe statique debout estatico reposo statico staan",
    "squat": "kniebeuge kniebeugen sentadilla sentadillas accovacciata",
    "functional": "funktionell fonctionnel funcional funzionale functioneel",
}
# Two short labels that tell segments only where both stand: Oberschenkel, Unterschenkel and so on.
LABELS = {"knee": (("os", "us"), ("bb", "ob")), "elbow": (("oa", "ua"), ("ba", "oa"))}
_ENDINGS = ("winkel", "hoek")  # of one word with what it is of: Kniewinkel
_ENGLISH = {word: known for known, spelt in SPELT.items() for word in spelt.split()}
_WORD = re.compile(
    r"(?<![^\W_])(?:(?P<of>[a-z]+)(?P<ending>" + "|".join(_ENDINGS) + r")|"
    + "|".join(word.replace("-", r"[\W_]+") for word in sorted(_ENGLISH, key=len, reverse=True))
    + r")(?![^\W\d_])",
    re.IGNORECASE,
)  # fmt: skip


def spellings(*known: str) -> str:
    """Return how other languages spell English words, as the alternatives of a pattern."""
    return "|".join(word for one in known for word in SPELT[one].split())


@lru_cache(maxsize=4096)
def in_english(text: str) -> str:
    """Return a name whose known words of other languages are English, and without accents.

    Parameters
    ----------
    text : str
        A name of a file or a column, or a word of one.

    Returns
    -------
    str
        Other words as they are, such as "thigh acc x" of "cuisse acc x".
    """
    apart = unicodedata.normalize("NFKD", text.replace("ß", "ss"))
    plain = "".join(each for each in apart if not unicodedata.combining(each))
    return _WORD.sub(_translated, plain)


def _translated(match: re.Match[str]) -> str:
    if match["ending"]:
        return f"{_ENGLISH.get(match['of'].lower(), match['of'])} angle"
    return _ENGLISH[re.sub(r"[\W_]+", "-", match[0].lower())]
