package gritbook.shell.frame

import android.os.Build
import gritbook.core.Costs
import gritbook.core.Enrolment
import gritbook.core.LevelLimits
import gritbook.core.UnitSystem
import java.util.Locale
import org.json.JSONObject
import java.util.concurrent.CountDownLatch

/** What the person set, as it stands in one small file. */
data class Settings(
    val person: String,
    val personSet: Boolean,
    val deviceName: String,
    val depotUrl: String?,
    val token: String?,
    /** To be shown to the depot until it has taken the token; null afterwards. */
    val code: String?,
    val depotKey: String?,
    /** Random bytes, in base64, that this phone made at its first enrolment and shows to nobody: its tokens are made of them. */
    val deviceSecret: String?,
    val system: UnitSystem,
    val leftHand: Boolean,
    val costs: Costs?,
    /** The shop's limits of the levels; null for the usual ones. */
    val limits: LevelLimits?,
    /** What the bar on the printed card measures, mm; null where it is as long as it should be. */
    val barMm: Double?,
    val usualPourM3: Double?,
) {
    companion object {
        fun of(json: JSONObject): Settings {
            val model = Build.MODEL?.takeIf { it.isNotBlank() } ?: "phone"
            fun text(key: String) = json.optString(key).takeIf { it.isNotBlank() }
            return Settings(
                person = text("person") ?: model,
                personSet = text("person") != null,
                deviceName = text("device") ?: model,
                depotUrl = text("depot"),
                token = text("token"),
                code = text("code"),
                depotKey = text("depot_key"),
                deviceSecret = text("device_secret"),
                system = UnitSystem.entries.find { it.name == text("units") } ?: usualUnits(),
                leftHand = json.optBoolean("left_hand"),
                costs = json.optJSONObject("costs")?.let(::costs),
                limits = json.optJSONObject("limits")?.let(::limits),
                barMm = json.optDouble("bar_mm").takeIf { it.isFinite() },
                usualPourM3 = json.optDouble("usual_pour_m3").takeIf { it.isFinite() },
            )
        }

        /** Until the shop says otherwise: what is usual where the phone is set to. */
        private fun usualUnits() = if (Locale.getDefault().country in setOf("US", "LR", "MM")) UnitSystem.INCH else UnitSystem.METRIC

        private fun costs(json: JSONObject): Costs? = runCatching {
            Costs(
                currency = json.getString("currency"), plannedChange = json.getDouble("planned_change"),
                failureMidPour = json.getDouble("failure_mid_pour"), watch = json.getDouble("watch"),
                watchSaves = json.getDouble("watch_saves"), lastingLimit = json.getDouble("lasting_limit"),
            )
        }.getOrNull()

        private fun limits(json: JSONObject): LevelLimits? = runCatching {
            LevelLimits(
                sandFromMm = json.getDouble("sand_from_mm"), someSandCoverPercent = json.getDouble("some_sand_cover_percent"),
                sandCoverPercent = json.getDouble("sand_cover_percent"), lumpMm = json.getDouble("lump_mm"), coarseGrainMm = json.getDouble("coarse_grain_mm"),
            )
        }.getOrNull()

        fun json(limits: LevelLimits): JSONObject = JSONObject().put("sand_from_mm", limits.sandFromMm)
            .put("some_sand_cover_percent", limits.someSandCoverPercent).put("sand_cover_percent", limits.sandCoverPercent)
            .put("lump_mm", limits.lumpMm).put("coarse_grain_mm", limits.coarseGrainMm)

        fun json(costs: Costs): JSONObject = JSONObject().put("currency", costs.currency).put("planned_change", costs.plannedChange)
            .put("failure_mid_pour", costs.failureMidPour).put("watch", costs.watch).put("watch_saves", costs.watchSaves)
            .put("lasting_limit", costs.lastingLimit)
    }
}

/** Holds the settings; readable from any thread once they were read from the disk. */
class Prefs(private val pen: Pen) {
    private val read = CountDownLatch(1)

    @Volatile
    private var json = JSONObject()

    @Volatile
    var now: Settings = Settings.of(JSONObject())
        private set

    /** From the pen's thread, once. */
    fun loaded(text: String?) {
        take(text?.let { runCatching { JSONObject(it) }.getOrNull() } ?: JSONObject())
        read.countDown()
    }

    private fun take(found: JSONObject) {
        json = found
        now = Settings.of(found)
    }

    /** Away from the main thread: waits until the file was read. */
    fun await(): Settings {
        Desk.notOnMain()
        read.await()
        return now
    }

    /**
     * A new right to send. Until the depot has taken it, what let this phone in so far is kept beside it: a code that somebody else
     * used shuts nobody out.
     */
    fun enrolled(depot: String, found: Enrolment, secret: String) = edit {
        val holds = optString("token").isNotBlank() && optString("code").isBlank() && optString("token") != found.token
        if (found.code == null) remove(BEFORE) else if (holds) put(BEFORE, JSONObject(this, RIGHT))
        put("depot", depot)
        put("token", found.token)
        put("code", found.code)
        put("device_secret", secret)
        put("depot_key", found.keySha256)
        put("device", found.name)
    }

    /** The depot took what was shown with [code]; null changes nothing. A newer code that came meanwhile is still to be shown. */
    fun letIn(code: String?) = ifShown(code) {
        remove("code")
        remove(BEFORE)
    }

    /** The depot will never take [code]: the phone goes on with what let it in before, where something did. */
    fun turnedAway(code: String?) = ifShown(code) {
        val before = optJSONObject(BEFORE) ?: return@ifShown
        RIGHT.forEach { put(it, before.opt(it)) }
        remove("code")
        remove(BEFORE)
    }

    private fun ifShown(code: String?, change: JSONObject.() -> Unit) {
        if (code != null && code == now.code) edit(change)
    }

    fun edit(change: JSONObject.() -> Unit) {
        take(JSONObject(json.toString()).apply(change))
        pen.write(FILE, json.toString())
    }

    companion object {
        const val FILE = "settings.json"
        private const val BEFORE = "before"

        /** What lets a phone in, and what the depot calls it. */
        private val RIGHT = arrayOf("depot", "token", "depot_key", "device")
    }
}
