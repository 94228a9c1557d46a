package gritbook.shell.screens.grade

import gritbook.core.Cup
import gritbook.core.Part
import gritbook.shell.frame.Place
import gritbook.shell.screens.check.Grades

/** The screen of one part's photos, within a grading: alone, or as part of a box check. */
data class WearPlace(val grading: Place, val part: Part, val cup: Cup?) {
    val place get() = Place(SCREEN, "${grading.about}:${Grades.key(part, cup)}")
    val within get() = grading.about.startsWith("check:")
    val pump get() = grading.about.substringAfter(':')

    companion object {
        const val SCREEN = "wear"

        /** Null for a place that no part of this program made. */
        fun of(place: Place): WearPlace? {
            val key = place.about.substringAfterLast(':')
            val part = Part.entries.find { it.name == key.substringBefore('.') } ?: return null
            return WearPlace(Place("grade", place.about.substringBeforeLast(':')), part, Cup.entries.find { it.name == key.substringAfter('.', "") })
        }
    }
}
