package gritbook.shell.look

import gritbook.core.Part
import gritbook.core.Words

/**
 * The core's words for grades, fetched once. The first use loads the library from disk: call [fetch] on a worker thread when
 * the program starts, and the main thread never waits for it.
 */
object CoreWords {
    /** The grades' names, 0 to 4. */
    val gradeNames: List<Words> by lazy { gritbook.core.gradeNames() }

    private val criteria: Map<Part, List<Words>> by lazy { gritbook.core.gradeCriteria().associate { it.part to it.grades } }

    /** What [part] looks like at each grade, 0 to 4. */
    fun criteria(part: Part): List<Words> = criteria.getValue(part)

    /** Fetches everything. */
    fun fetch() {
        gradeNames.size
        criteria.size
    }
}
