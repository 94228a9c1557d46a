package gritbook.shell.screens.check

import android.content.Context
import gritbook.core.Cup
import gritbook.core.GradeDraft
import gritbook.core.GradeSource
import gritbook.core.Part
import gritbook.core.criteriaEdition
import gritbook.shell.carry.Shots
import gritbook.shell.frame.Draft
import org.json.JSONObject

/** Grades that were given on a screen and are saved with what it saves: part and side to grade, in the screen's draft. */
object Grades {
    private const val KEY = "grades"

    fun key(part: Part, cup: Cup?) = if (cup == null) part.name else "${part.name}.${cup.name}"

    fun get(draft: Draft, part: Part, cup: Cup?): Int? =
        draft.json.optJSONObject(KEY)?.let { found -> key(part, cup).takeIf(found::has)?.let(found::getInt) }

    fun set(draft: Draft, part: Part, cup: Cup?, grade: Int?) {
        val all = draft.json.optJSONObject(KEY) ?: JSONObject()
        if (grade == null) all.remove(key(part, cup)) else all.put(key(part, cup), grade)
        draft.put(KEY, all)
    }

    fun none(draft: Draft) = draft.json.optJSONObject(KEY)?.length().let { it == null || it == 0 }

    fun of(context: Context, draft: Draft): List<GradeDraft> {
        val all = draft.json.optJSONObject(KEY) ?: return emptyList()
        val edition = criteriaEdition()
        return all.keys().asSequence().mapNotNull { key ->
            val part = Part.entries.find { it.name == key.substringBefore('.') } ?: return@mapNotNull null
            val cup = Cup.entries.find { it.name == key.substringAfter('.', "") }
            GradeDraft(part, cup, all.getInt(key).toUByte(), GradeSource.EYE, edition, WearShots.of(draft, key).map { Shots.file(context, it).path })
        }.toList()
    }
}
