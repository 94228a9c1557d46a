package gritbook.shell.screens.measure

import gritbook.core.BoreMeasured
import gritbook.core.BorePlace
import gritbook.core.BoreReading
import gritbook.core.BoreSettings
import gritbook.core.Cup
import gritbook.core.FieldBookException
import gritbook.core.Quantity
import gritbook.core.checkBoreDiameter
import gritbook.core.checkBoreSettings
import gritbook.core.measureBore
import gritbook.core.usualBoreSettings
import gritbook.shell.frame.Draft
import gritbook.shell.frame.Figures
import gritbook.shell.frame.Trouble

/** What stands in the fields of one bore comes to, as the book has it. */
class Judged(
    /** The diameters that stand. */
    val readings: List<BoreReading>,
    val settings: BoreSettings,
    /** Null until one diameter stands, and while a setting does not. */
    val found: BoreMeasured?,
    /** What the book says of a field, by its key. */
    val refused: Map<String, Trouble>,
)

/** One bore as it is typed: a field for each place, and what the bore is held against. It judges nothing itself. */
class BoreSheet(private val places: List<BorePlace>, private val figures: Figures) {
    /** Asks the book; away from the main thread. [typed] is what stands in the fields, by their keys. */
    fun judge(cup: Cup, typed: Map<String, String>): Judged {
        val refused = LinkedHashMap<String, Trouble>()
        fun <T> told(key: String, take: (Double) -> T): T? {
            val text = typed[key].orEmpty().ifBlank { return null }
            return try {
                take(figures.parse(Quantity.FINE_LENGTH, text))
            } catch (refusal: FieldBookException) {
                refused[key] = Trouble.of(refusal)
                null
            }
        }
        // One after the other: each refusal is of the field that was added last.
        var settings = usualBoreSettings(null)
        fun set(key: String, with: BoreSettings.(Double) -> BoreSettings) =
            told(key) { mm -> settings.with(mm).also(::checkBoreSettings) }?.let { settings = it }
        set(NEW) { copy(nominalMm = it) }
        set(CHROME) { copy(chromeMm = it) }
        set(STEP) { copy(resolutionMm = it) }
        val settled = refused.isEmpty()
        val readings = places.mapIndexedNotNull { at, place ->
            told(key(cup, at)) { mm ->
                checkBoreDiameter(mm, settings)
                BoreReading(place.stationMm, place.directionDeg, mm)
            }
        }
        val found = if (settled && readings.isNotEmpty()) {
            try {
                measureBore(readings, settings)
            } catch (refusal: FieldBookException) {
                refused[WHOLE] = Trouble.of(refusal)
                null
            }
        } else {
            null
        }
        return Judged(readings, settings, found, refused)
    }

    /** What stands in the fields of one bore now; on the main thread. */
    fun typed(draft: Draft, cup: Cup): Map<String, String> = (places.indices.map { key(cup, it) } + listOf(NEW, CHROME, STEP)).associateWith(draft::text)

    /** How many diameters are typed. */
    fun count(draft: Draft, cup: Cup): Int = places.indices.count { draft.text(key(cup, it)).isNotBlank() }

    companion object {
        const val NEW = "new"
        const val CHROME = "chrome"
        const val STEP = "step"

        /** What is said of all diameters together. */
        const val WHOLE = "whole"

        fun key(cup: Cup, place: Int) = "${cup.name}.$place"
    }
}
