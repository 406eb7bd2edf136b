"""Names of the months as loggers write them, in the languages whose names do not contradict each other.

"Listopad" is left out: it is November in Polish and Czech, October in Croatian.
"""

from __future__ import annotations

_NAMES = (
    "jan january januar januari janvier janv enero ene gennaio gen jän jänner janeiro sty stycznia styczeń tammi tammikuuta "
    "янв января январь oca ocak",
    "feb february februar februari février févr fev fév febrero febbraio fevr fevrier fevereiro lut lutego luty helmi helmikuuta "
    "фев февр февраля февраль şub şubat febr",
    "mar march mär märz mrz mars marzo mrt maart marz maerz março marca marzec marts maalis maaliskuuta мар март марта mart márc",
    "apr april avr avril abr abril aprile kwi kwietnia kwiecień huhti huhtikuuta апр апреля апрель nis nisan ápr",
    "may mai mayo maggio mag mei maj maio maja touko toukokuuta май мая mayıs máj",
    "jun june juni juin junio giugno giu junho cze czerwca czerwiec kesä kesäkuuta июн июня июнь haz haziran jún",
    "jul july juli juil juillet julio luglio lug julho lip lipca lipiec heinä heinäkuuta июл июля июль tem temmuz júl",
    "aug august août aout agosto ago augustus augusti sie sierpnia sierpień elo elokuuta авг августа август ağu ağustos",
    "sep sept september septembre septiembre settembre set setembro wrz września wrzesień syys syyskuuta сен сент сентября "
    "сентябрь eyl eylül szept",
    "oct october okt oktober octobre octubre ottobre ott out outubro paź października październik loka lokakuuta окт октября "
    "октябрь eki ekim",
    "nov november novembre noviembre novembro marras marraskuuta ноя нояб ноября ноябрь kasım",
    "dec december dez dezember déc décembre decembre diciembre dic dezembro des desember gru grudnia grudzień joulu joulukuuta "
    "дек декабря декабрь aralık",
)
MONTHS: dict[str, int] = {name: number for number, names in enumerate(_NAMES, 1) for name in names.split()}
