package gritbook.shell.frame

import android.content.Context
import gritbook.core.LevelCode
import gritbook.core.LevelWords
import gritbook.core.Liquid
import gritbook.core.Part
import gritbook.core.Words
import gritbook.core.gradeCriteria
import gritbook.core.gradeNames
import gritbook.core.levelWords
import gritbook.core.liquidWords
import gritbook.core.partWords

/** The book's words, fetched once when the program starts and away from the main thread: the first fetch loads the library. */
object Vocabulary {
    private val levels: Map<LevelCode, LevelWords> by lazy { LevelCode.entries.associateWith(::levelWords) }
    private val liquids: Map<Liquid, Words> by lazy { Liquid.entries.associateWith(::liquidWords) }
    private val partNames: Map<Part, Words> by lazy { Part.entries.associateWith(::partWords) }
    private val criteria: Map<Part, List<Words>> by lazy { gradeCriteria().associate { it.part to it.grades } }
    private val names: List<Words> by lazy { gradeNames() }

    fun fetch() {
        levels.size
        liquids.size
        partNames.size
        criteria.size
        names.size
        gritbook.shell.look.CoreWords.fetch()
    }

    /** Parts in the order in which a box is looked at. */
    val parts: List<Part> get() = criteria.keys.toList()

    fun level(context: Context, level: LevelCode) = context.say(levels.getValue(level).name)

    fun meaning(context: Context, level: LevelCode) = context.say(levels.getValue(level).meaning)

    fun liquid(context: Context, liquid: Liquid) = context.say(liquids.getValue(liquid))

    fun part(context: Context, part: Part) = context.say(partNames.getValue(part))

    fun grade(context: Context, grade: Int) = context.say(names[grade])

    fun criterion(context: Context, part: Part, grade: Int) = context.say(criteria.getValue(part)[grade])
}
