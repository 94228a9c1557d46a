package gritbook.shell.carry

import android.app.job.JobInfo
import android.app.job.JobParameters
import android.app.job.JobScheduler
import android.content.Context
import gritbook.core.Body
import gritbook.core.Enrolment
import gritbook.core.HttpMethod
import gritbook.core.QueueState
import gritbook.core.Request
import gritbook.shell.Bench
import gritbook.shell.Depot
import gritbook.shell.Photos
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.cameraTakes
import gritbook.shell.checkKey
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Place
import gritbook.shell.pump
import java.io.File
import org.json.JSONObject
import org.junit.After
import org.junit.Assert.assertEquals
import org.junit.Assert.assertNotEquals
import org.junit.Assert.assertNotNull
import org.junit.Assert.assertNull
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.Robolectric
import org.robolectric.RobolectricTestRunner
import org.robolectric.Shadows.shadowOf
import org.robolectric.annotation.Config
import org.robolectric.util.ReflectionHelpers

@RunWith(RobolectricTestRunner::class)
class SendTest {
    @get:Rule
    val bench = Bench()

    @get:Rule
    val depot = Depot()

    @After
    fun clock() {
        Clock.read = System::currentTimeMillis
    }

    private val scheduler get() = bench.app.getSystemService(Context.JOB_SCHEDULER_SERVICE) as JobScheduler

    /** What the system does when the job's constraints hold. */
    private fun systemRunsJob() {
        assertNotNull("nothing is scheduled", scheduler.getPendingJob(SendJob.ID))
        scheduler.cancel(SendJob.ID)
        val service = Robolectric.buildService(SendJob::class.java).create()
        service.get().onStartJob(ReflectionHelpers.newInstance(JobParameters::class.java))
        bench.settle()
        assertTrue(shadowOf(service.get()).isJobFinished)
        service.destroy()
    }

    /** The text of the code that was photographed. */
    private fun enrolByPhoto(): String {
        val code = depot.enrol("phone 1")
        bench.activity.go(Place("enrol"))
        bench.settle()
        bench.touch(R.id.photograph)
        bench.cameraTakes(code.picture)
        assertNotNull(bench.texts(), bench.activity.findViewById(R.id.enrolled))
        return code.code
    }

    private fun checkBox(photo: File) {
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(photo)
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.save)
    }

    private fun waiting() = bench.book { it.outbox() }.count { it.state == QueueState.WAITING }

    @Test
    fun codePhotographedThenCheckSavedOfflineReachesTheDepotByteForByteWhenTheJobRuns() {
        bench.start()
        bench.pump("Otter", 18_250.0)
        depot.start()
        enrolByPhoto()
        bench.activity.home()
        bench.settle()
        depot.stop()
        checkBox(Photos.demo("sand"))
        assertEquals("saved although nothing answers", "pump", bench.screen.at.screen)
        assertTrue(waiting() >= 4)
        systemRunsJob()
        val later = scheduler.getPendingJob(SendJob.ID)!!
        assertTrue("the wait comes from the book: ${later.minLatencyMillis} ms", later.minLatencyMillis >= 1_000)
        assertEquals(emptyList<String>(), depot.photos())

        depot.start()
        val start = System.currentTimeMillis() + later.minLatencyMillis + 1_000
        Clock.read = { start }
        systemRunsJob()
        assertEquals(0, waiting())
        assertEquals(listOf(Photos.sha256(Photos.demo("sand"))), depot.photos())
        assertNull("nothing more to do", scheduler.getPendingJob(SendJob.ID))
    }

    @Test
    fun pumpOfAnotherDeviceThenItStandsAtHomeWithItsLevelAndGradeOnceTheJobRan() {
        bench.start()
        depot.start()
        val other = depot.enrol("yard book")
        depot.otherDevice("check", "--pump", "Badger", "--pump-m3", "4210", "--level", "some-sand", "--grade", "A=3", "--liquid", "grey")
        depot.otherDevice("sync", "--depot", depot.url, "--token=${other.token}")
        enrolByPhoto()
        bench.pump("Otter", 18_250.0)
        systemRunsJob()
        bench.activity.home()
        bench.settle()
        assertTrue(bench.texts(), "Badger" in bench.texts() && "Some sand" in bench.texts())
        val pump = bench.book { it.pumps() }.single { it.spec.name == "Badger" }
        assertEquals(4_210.0, pump.pumpM3!!, 0.0)
        assertEquals(3.toUByte(), pump.gravest)
        // Its own check of that pump follows on from there.
        bench.touch(bench.checkKey("Badger"))
        assertEquals(pump.id, bench.screen.at.about)
    }

    @Test
    fun checkSavedThenJobWaitsForANetworkAndABatteryThatIsNotLow() {
        bench.start()
        bench.pump("Otter")
        checkBox(Photos.demo("some_sand"))
        val job = scheduler.getPendingJob(SendJob.ID)!!
        @Suppress("DEPRECATION")
        assertEquals(JobInfo.NETWORK_TYPE_ANY, job.networkType)
        assertTrue(job.isRequireBatteryNotLow)
    }

    @Test
    fun noDepotEnrolledThenJobEndsAndEverythingStaysQueued() {
        bench.start()
        bench.pump("Otter")
        SendJob.schedule(bench.app, 0)
        systemRunsJob()
        assertEquals(1, waiting())
        assertNull(scheduler.getPendingJob(SendJob.ID))
    }

    @Test
    fun processEndsBetweenSavingAndSendingThenSendNowSendsAll() {
        bench.start()
        bench.pump("Otter")
        depot.start()
        enrolByPhoto()
        bench.activity.home()
        bench.settle()
        checkBox(Photos.demo("lumps"))
        bench.die()
        bench.settle()
        bench.activity.home()
        bench.settle()
        bench.touch(R.id.outbox)
        bench.touch(R.id.send)
        assertTrue(bench.texts(), "Nothing waits" in bench.texts())
        assertEquals(listOf(Photos.sha256(Photos.demo("lumps"))), depot.photos())
    }

    @Test
    fun tokenRevokedThenOutboxSaysWhyAndKeepsEverything() {
        bench.start()
        bench.pump("Otter")
        depot.start()
        bench.app.prefs.edit {
            put("depot", depot.url)
            put("token", "not-the-right-one")
        }
        bench.touch(R.id.outbox)
        bench.touch(R.id.send)
        assertNotNull(bench.texts(), bench.activity.findViewById(R.id.said))
        assertEquals(1, bench.book { it.outbox() }.size)
    }

    @Test
    fun codeTakenThenItIsForgottenAndTheSameCodeTwiceIsTheSamePhone() {
        bench.start()
        bench.pump("Otter")
        depot.start()
        val code = enrolByPhoto()
        val token = bench.app.prefs.now.token
        assertNotNull(bench.app.prefs.now.code)
        systemRunsJob()
        assertNull("spent", bench.app.prefs.now.code)
        assertEquals(0, waiting())
        bench.activity.home()
        bench.settle()
        bench.activity.go(Place("enrol"))
        bench.settle()
        bench.type(R.id.code, code)
        bench.touch(R.id.done)
        assertEquals("made of the code and of what this phone alone has", token, bench.app.prefs.now.token)
        bench.pump("Badger")
        systemRunsJob()
        assertEquals(0, waiting())
        assertNull(bench.app.prefs.now.code)
    }

    private fun otherPhoneShows(code: String) {
        val body = JSONObject().put("schema", "gritbook.code/1").put("code", code).toString().encodeToByteArray()
        val answer = HttpCarrier(depot.url, "f".repeat(64)).carry(Request(HttpMethod.POST, "/v1/enrolment", emptyList(), Body.Bytes(body)))
        assertEquals(200, answer.status.toInt())
    }

    @Test
    fun phoneThatIsInAndIsGivenAUsedCodeThenItSaysSoAndGoesOnAsBefore() {
        bench.start()
        bench.pump("Otter")
        depot.start()
        enrolByPhoto()
        systemRunsJob()
        val before = bench.app.prefs.now
        val used = depot.enrol("phone 2").code
        otherPhoneShows(JSONObject(used).getString("code"))
        bench.activity.home()
        bench.settle()
        bench.activity.go(Place("enrol"))
        bench.settle()
        bench.type(R.id.code, used)
        bench.touch(R.id.done)
        assertNotEquals(before.token, bench.app.prefs.now.token)
        bench.pump("Badger")
        bench.activity.home()
        bench.settle()
        bench.touch(R.id.outbox)
        bench.touch(R.id.send)
        assertTrue(bench.texts(), "nother device used this code" in bench.texts())
        assertEquals(before, bench.app.prefs.now)
        assertEquals("nothing is lost", 1, waiting())
        bench.touch(R.id.send)
        assertEquals(0, waiting())
        assertTrue("Badger" in depot.entries(before.token!!))
    }

    @Test
    fun codePhotographedWhileAnEarlierOneIsOnItsWayThenItIsStillShown() {
        bench.start()
        depot.start()
        val prefs = bench.app.prefs
        enrolByPhoto()
        val earlier = prefs.now.code
        val (depotUrl, key) = prefs.now.depotUrl to prefs.now.depotKey
        prefs.enrolled(depotUrl!!, Enrolment(depotUrl, "phone 2", "t".repeat(64), "later", key), prefs.now.deviceSecret!!)
        prefs.letIn(earlier)
        prefs.turnedAway(earlier)
        assertEquals("later", prefs.now.code)
        prefs.letIn(null)
        assertEquals("later", prefs.now.code)
        // What waits was never let in: there is nothing to go back to, and the code is told of until a better one comes.
        prefs.turnedAway("later")
        assertEquals("later", prefs.now.code)
        prefs.letIn("later")
        assertNull(prefs.now.code)
    }

    private fun anotherPhoneUsesTheCode() {
        bench.start()
        bench.pump("Otter")
        depot.start()
        otherPhoneShows(JSONObject(enrolByPhoto()).getString("code"))
        bench.activity.home()
        bench.settle()
        bench.touch(R.id.outbox)
        bench.touch(R.id.send)
        assertEquals("nothing left the phone", 1, waiting())
    }

    @Test
    fun codeUsedByAnotherPhoneThenTheOutboxSaysSoAndEverythingWaits() {
        anotherPhoneUsesTheCode()
        assertTrue(bench.texts(), "nother device used this code" in bench.texts())
        assertTrue(bench.texts(), "ask the office" in bench.texts())
    }

    @Test
    @Config(qualifiers = "es-rUS")
    fun codeUsedByAnotherPhoneThenItIsSaidInSpanish() {
        anotherPhoneUsesTheCode()
        assertTrue(bench.texts(), "Otro equipo ya usó este código" in bench.texts())
        assertTrue(bench.texts(), "Pida a la oficina" in bench.texts())
    }

    @Test
    fun picturesWithoutACodeThenItIsToldAndThePhotoIsGone() {
        bench.start()
        bench.activity.go(Place("enrol"))
        bench.settle()
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.demo("sand"))
        assertNotNull(bench.texts(), bench.activity.findViewById(R.id.said))
        assertNull(bench.app.prefs.now.token)
        assertEquals(0, Shots.folder(bench.app).list()!!.size)
    }

    @Test
    fun depotWithoutEncryptionElsewhereThenEnrolmentIsRefused() {
        bench.start()
        bench.activity.go(Place("enrol"))
        bench.settle()
        bench.type(R.id.code, """{"gritbook":"enrolment/1","depot":"http://depot.example","name":"phone 1","token":"abc"}""")
        bench.touch(R.id.done)
        assertTrue(bench.texts(), "not encrypted" in bench.texts())
        assertNull(bench.app.prefs.now.depotUrl)
    }

    @Test
    fun phoneRestartedWhileEntriesWaitThenTheJobIsAskedForAgain() {
        bench.start()
        bench.app.prefs.edit {
            put("depot", depot.url)
            put("token", "a-token")
        }
        bench.pump("Otter")
        scheduler.cancelAll()
        bench.die()
        bench.settle()
        assertNotNull(scheduler.getPendingJob(SendJob.ID))
    }
}
